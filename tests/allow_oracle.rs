//! Seeded outlines of all classes against two oracles that know nothing of the crate: brute-force capsules and
//! clipper2-rust 1.2 (a port of Clipper2, Angus Johnson). `tests/outside/allow_geos.py` adds GEOS.
//!
//! The full run is `cargo test --release --test allow_oracle -- --ignored full`; it rewrites `tests/results/allow.txt`.

mod allow_support;

use allow_support::oracle::{
    Chain, capsule_error, clipper_offset, flattened, hausdorff, region, sew_chain, with_slits_closed,
};
use allow_support::{CLASSES, Class, random_piece};
use oaktag::allow::{TOLERANCE, allow};
use oaktag::diag::Severity;
use std::fmt::Write as _;
use std::panic::{AssertUnwindSafe, catch_unwind};

/// What became of the outlines of one class.
#[derive(Default)]
struct Tally {
    outlines: usize,
    refused: usize,
    wrongly_refused: usize,
    panics: usize,
    not_finite: usize,
    wrong_topology: usize,
    typed_errors: usize,
    slower: usize,
    outside: usize,
    /// Outlines that the oracle itself could not settle.
    unsettled: usize,
    worst: f64,
    worst_seed: u64,
    /// Hausdorff distance of the lines; `worst` is that of the regions where widths are mixed.
    worst_line: f64,
    /// Hausdorff distance to clipper2's offset, less its own error.
    worst_clipper: f64,
}

/// Chords of our cut line when it is flattened for the oracles, mm.
const CHORD: f64 = 5e-4;

/// Chords and arcs of clipper2, mm; each adds to the distance.
const CLIPPER_CHORD: f64 = 0.002;

fn run(class: Class, count: usize, mixed: bool) -> Tally {
    let mut tally = Tally::default();
    let mut seed = 0;
    while tally.outlines < count {
        let piece = random_piece(class, seed, mixed);
        seed += 1;
        let outcome = catch_unwind(AssertUnwindSafe(|| allow(&piece, TOLERANCE)));
        let Ok(outcome) = outcome else {
            tally.panics += 1;
            tally.outlines += 1;
            continue;
        };
        let (cut, findings) = match outcome {
            Ok(found) => found,
            Err(finding) if finding.message.contains("cut line") => {
                tally.typed_errors += 1;
                tally.outlines += 1;
                continue;
            }
            Err(_) => {
                // Not an outline at all: it crosses itself. Brute force must agree.
                tally.refused += 1;
                tally.wrongly_refused += usize::from(!sew_chain(&piece, 1e-4).crosses_itself(1e-7));
                continue;
            }
        };
        tally.outlines += 1;
        tally.slower += usize::from(findings.iter().any(|f| f.message.starts_with("the slower way")));
        assert!(findings.iter().all(|f| f.severity <= Severity::Warning));
        if !cut.cut_line.is_finite() {
            tally.not_finite += 1;
            continue;
        }
        let chain = Chain::closed(flattened(&cut.cut_line, CHORD));
        let sew = sew_chain(&piece, CHORD);
        let inside = sew.points.iter().all(|p| chain.holds(*p) || chain.distance(*p) < 2.0 * TOLERANCE);
        let moves = cut.cut_line.elements().iter().filter(|e| matches!(e, kurbo::PathEl::MoveTo(_))).count();
        if !inside || moves != 1 || chain.crosses_itself(0.001) {
            tally.wrong_topology += 1;
        }
        let error = if mixed {
            if let Some((oracle, ours)) = region(&piece, CHORD).zip(with_slits_closed(&chain)) {
                let (lines, regions) = hausdorff(&ours, &oracle);
                tally.worst_line = tally.worst_line.max(lines);
                regions
            } else {
                tally.unsettled += 1;
                continue;
            }
        } else {
            let width = piece.edges[0].allowance;
            if let Some(oracle) = clipper_offset(&piece, width, CLIPPER_CHORD) {
                tally.worst_clipper = tally.worst_clipper.max(hausdorff(&chain, &oracle).1 - 2.0 * CLIPPER_CHORD);
            }
            capsule_error(&piece, &chain, width)
        };
        if error > tally.worst {
            (tally.worst, tally.worst_seed) = (error, seed - 1);
        }
        if error > TOLERANCE + 2.0 * CHORD && std::env::var("SAY").is_ok() {
            println!("outside: {class:?} mixed {mixed} seed {} by {error:.4}", seed - 1);
        }
        tally.outside += usize::from(error > TOLERANCE + 2.0 * CHORD);
    }
    tally
}

fn check(class: Class, tally: &Tally, mixed: bool) -> String {
    let mut line = String::new();
    let _ = write!(
        line,
        "{class:?} {}: {} outlines, {} self-crossing refused ({} wrongly), {} panics, {} not finite, {} wrong topology, \
         {} typed errors, {} by the slower way, {} outside, {} unsettled by the oracle, worst {:.4} mm (seed {})",
        if mixed { "mixed widths" } else { "one width" },
        tally.outlines,
        tally.refused,
        tally.wrongly_refused,
        tally.panics,
        tally.not_finite,
        tally.wrong_topology,
        tally.typed_errors,
        tally.slower,
        tally.outside,
        tally.unsettled,
        tally.worst,
        tally.worst_seed,
    );
    if mixed {
        let _ = write!(line, ", of the lines {:.4} mm", tally.worst_line);
    } else {
        let _ = write!(line, ", against clipper2 {:.4} mm", tally.worst_clipper);
    }
    line
}

#[test]
#[ignore = "for looking at"]
fn look() {
    let n = std::env::var("N").ok().and_then(|n| n.parse().ok()).unwrap_or(100);
    for mixed in [false, true].into_iter().filter(|m| *m || std::env::var("MIXED").is_err()) {
        for class in CLASSES {
            let start = std::time::Instant::now();
            println!("{} {:?}", check(class, &run(class, n, mixed), mixed), start.elapsed());
        }
    }
}

#[test]
#[ignore = "for looking at one"]
fn one() {
    let get = |name: &str| std::env::var(name).unwrap_or_default();
    let class = CLASSES[get("CLASS").parse::<usize>().unwrap_or(0)];
    let mixed = get("MIXED") == "1";
    let piece = random_piece(class, get("SEED").parse().unwrap_or(0), mixed);
    for edge in &piece.edges {
        println!("{} {} {:?} {}", edge.name, edge.allowance, edge.corner, edge.path.to_svg());
    }
    let (cut, findings) = allow(&piece, TOLERANCE).expect("cuts");
    println!("CUT {}", cut.cut_line.to_svg());
    for finding in findings {
        println!("{finding}");
    }
    let oracle = if mixed { region(&piece, CHORD) } else { clipper_offset(&piece, piece.edges[0].allowance, 0.002) };
    let points = oracle.expect("oracle").points;
    let text: Vec<String> = points.iter().map(|p| format!("{} {}", p.x, p.y)).collect();
    println!("LOOP M{} Z", text.join(" L"));
}
