//! Seeded outlines of all classes against two oracles that know nothing of the crate: brute-force capsules and
//! clipper2-rust 1.2 (a port of Clipper2, Angus Johnson). `tests/outside/allow_geos.py` adds GEOS.
//!
//! The full run is `cargo test --release --test allow_oracle -- --ignored full`; it rewrites `tests/results/allow.txt`.

mod allow_support;

use allow_support::oracle::{
    Chain, capsule_error, clipper_offset, flattened, hausdorff, region, sew_chain, with_slits_closed,
};
use allow_support::{CLASSES, Class, random_piece};
use kurbo::Affine;
use oaktag::allow::{TOLERANCE, allow};
use oaktag::diag::Severity;
use oaktag::piece::Finish;
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
                // Ever finer, since a grazing crossing is lost between coarse chords.
                if ![1e-4, 1e-6, 1e-8].iter().any(|chord| sew_chain(&piece, *chord).crosses_itself(1e-3 * chord)) {
                    println!("refused, and brute force finds no crossing: {class:?} seed {}", seed - 1);
                    tally.wrongly_refused += 1;
                }
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
        tally.outside += usize::from(error > TOLERANCE + 2.0 * CHORD);
    }
    tally
}

fn said(class: Class, tally: &Tally, mixed: bool) -> String {
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

/// Runs all classes and demands what holds for every count; the lines say what came of it.
fn run_all(count: usize, mixed_count: usize) -> Vec<String> {
    let mut lines = Vec::new();
    let (mut outlines, mut typed_errors, mut slower) = (0, 0, 0);
    for (mixed, count) in [(false, count), (true, mixed_count)] {
        for class in CLASSES {
            let tally = run(class, count, mixed);
            let line = said(class, &tally, mixed);
            assert_eq!(tally.panics, 0, "{line}");
            assert_eq!(tally.not_finite, 0, "{line}");
            assert_eq!(tally.wrong_topology, 0, "{line}");
            assert_eq!(tally.outside, 0, "{line}");
            assert_eq!(tally.wrongly_refused, 0, "{line}");
            // The oracle must settle all but a few, or it has checked nothing.
            assert!(tally.unsettled * 100 <= tally.outlines, "{line}");
            if class == Class::Gentle {
                assert_eq!(tally.typed_errors + tally.slower, 0, "garments need neither: {line}");
            }
            outlines += tally.outlines;
            typed_errors += tally.typed_errors;
            slower += tally.slower;
            lines.push(line);
        }
    }
    assert!(typed_errors * 200 < outlines, "{typed_errors} typed errors of {outlines}");
    assert!(slower * 100 < outlines, "{slower} by the slower way of {outlines}");
    lines.push(format!("All: {outlines} outlines, {typed_errors} typed errors, {slower} by the slower way"));
    lines
}

/// A tenth of the full count.
#[test]
fn seeded_outlines_agree_with_the_oracles() {
    run_all(250, 50);
}

/// 10,000 outlines with one width and 2,000 with mixed widths, all classes alike.
#[test]
#[ignore = "the full count takes minutes"]
fn full() {
    let lines = run_all(2500, 500);
    let text = format!(
        "Seeded outlines against brute-force capsules, clipper2-rust 1.2 and the region's definition\n\
         cargo test --release --test allow_oracle -- --ignored full; 2-core x86-64, tolerance {TOLERANCE} mm\n\n{}\n",
        lines.join("\n")
    );
    std::fs::write(concat!(env!("CARGO_MANIFEST_DIR"), "/tests/results/allow.txt"), text).expect("written");
}

/// Seeded faults: a cut line moved by a fiftieth of a millimetre, and one whose mitre was bevelled, are caught.
#[test]
fn oracles_catch_faults() {
    let piece = allow_support::bodice(12.7, Finish::Round);
    let cut = allow(&piece, TOLERANCE).expect("cuts").0.cut_line;
    let chain = |by: Affine| Chain::closed(flattened(&(by * cut.clone()), CHORD));
    assert!(capsule_error(&piece, &chain(Affine::IDENTITY), 12.7) <= TOLERANCE + 2.0 * CHORD);
    let shifted = chain(Affine::translate((0.02, 0.0)));
    assert!(capsule_error(&piece, &shifted, 12.7) > TOLERANCE + 2.0 * CHORD);
    let clipper = clipper_offset(&piece, 12.7, CLIPPER_CHORD).expect("an outline");
    assert!(hausdorff(&shifted, &clipper).1 > TOLERANCE + 2.0 * CLIPPER_CHORD);
    let mitred = region(&allow_support::bodice(12.7, Finish::Mitre), CHORD).zip(with_slits_closed(&shifted));
    let (oracle, bevelled) = mitred.expect("both");
    assert!(hausdorff(&bevelled, &oracle).1 > TOLERANCE + 2.0 * CHORD);
}
