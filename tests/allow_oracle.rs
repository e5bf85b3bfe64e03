//! Seeded outlines of all classes against two oracles that know nothing of the crate: brute-force capsules and
//! clipper2-rust 1.2 (a port of Clipper2, Angus Johnson). `tests/outside/allow_geos.py` adds GEOS.
//!
//! The full run is `cargo test --release --test allow_oracle -- --ignored full`; it rewrites `tests/results/allow.txt`.

mod allow_support;

use allow_support::chain::{Chain, flattened, hausdorff, sew_chain};
use allow_support::oracle::{capsule_error, clipper_offset, with_slits_closed};
use allow_support::region::region;
use allow_support::{CLASSES, Class, Random, piece_of, random_piece, record};
use kurbo::{Affine, BezPath, CubicBez, Line, ParamCurve, PathSeg, Vec2};
use oaktag::allow::{TOLERANCE, allow};
use oaktag::diag::Severity;
use oaktag::piece::Finish;
use rayon::prelude::*;
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

impl Tally {
    fn add(&mut self, other: &Self) {
        self.outlines += other.outlines;
        self.refused += other.refused;
        self.wrongly_refused += other.wrongly_refused;
        self.panics += other.panics;
        self.not_finite += other.not_finite;
        self.wrong_topology += other.wrong_topology;
        self.typed_errors += other.typed_errors;
        self.slower += other.slower;
        self.outside += other.outside;
        self.unsettled += other.unsettled;
        if other.worst > self.worst {
            (self.worst, self.worst_seed) = (other.worst, other.worst_seed);
        }
        self.worst_line = self.worst_line.max(other.worst_line);
        self.worst_clipper = self.worst_clipper.max(other.worst_clipper);
    }
}

/// Seeds from 0 on until there are so many outlines; those that cross themselves are none.
fn run(class: Class, count: usize, mixed: bool) -> Tally {
    let mut tally = Tally::default();
    let mut next = 0;
    while tally.outlines < count {
        let seeds = next..next + (count - tally.outlines) as u64;
        next = seeds.end;
        let judged: Vec<Tally> = seeds.into_par_iter().map(|seed| judged(class, seed, mixed)).collect();
        for one in &judged {
            tally.add(one);
        }
    }
    tally
}

/// What becomes of one outline.
fn judged(class: Class, seed: u64, mixed: bool) -> Tally {
    let one = Tally { outlines: 1, worst_seed: seed, ..Tally::default() };
    let piece = random_piece(class, seed, mixed);
    let (cut, findings) = match catch_unwind(AssertUnwindSafe(|| allow(&piece, TOLERANCE))) {
        Err(_) => return Tally { panics: 1, ..one },
        Ok(Err(finding)) if finding.message.contains("cut line") => {
            // It must name both piece and edge.
            assert!(finding.piece.is_some() && finding.edge.is_some(), "{finding}");
            println!("{class:?} seed {seed}: {finding}");
            return Tally { typed_errors: 1, ..one };
        }
        Ok(Err(_)) => {
            // Not an outline at all: it crosses itself. Brute force must agree.
            // Ever finer, since a grazing crossing is lost between coarse chords.
            let crosses = |chord: &f64| sew_chain(&piece, *chord).crosses_itself(1e-3 * chord);
            let rightly = [1e-4, 1e-6, 1e-8].iter().any(crosses);
            if !rightly {
                println!("refused, and brute force finds no crossing: {class:?} seed {seed}");
            }
            return Tally { outlines: 0, refused: 1, wrongly_refused: usize::from(!rightly), ..one };
        }
        Ok(Ok(found)) => found,
    };
    assert!(findings.iter().all(|f| f.severity <= Severity::Warning));
    let slower = usize::from(findings.iter().any(|f| f.message.starts_with("the slower way")));
    let mut one = Tally { slower, ..one };
    if !cut.cut_line.is_finite() {
        return Tally { not_finite: 1, ..one };
    }
    let chain = Chain::closed(flattened(&cut.cut_line, CHORD));
    let sew = sew_chain(&piece, CHORD);
    let inside = sew.points.iter().all(|p| chain.holds(*p) || chain.distance(*p) < 2.0 * TOLERANCE);
    let moves = cut.cut_line.elements().iter().filter(|e| matches!(e, kurbo::PathEl::MoveTo(_))).count();
    one.wrong_topology = usize::from(!inside || moves != 1 || chain.crosses_itself(0.001));
    one.worst = if mixed {
        let Some((oracle, ours)) = region(&piece, CHORD).zip(with_slits_closed(&chain)) else {
            return Tally { unsettled: 1, ..one };
        };
        let (lines, regions) = hausdorff(&ours, &oracle);
        one.worst_line = lines;
        regions
    } else {
        let width = piece.edges[0].allowance;
        if let Some(oracle) = clipper_offset(&piece, width, CLIPPER_CHORD) {
            one.worst_clipper = hausdorff(&chain, &oracle).1 - 2.0 * CLIPPER_CHORD;
        }
        capsule_error(&piece, &chain, width)
    };
    one.outside = usize::from(one.worst > TOLERANCE + 2.0 * CHORD);
    if one.outside + one.wrong_topology > 0 {
        println!("{class:?} seed {seed}: wrong topology {}, {:.4} mm off", one.wrong_topology, one.worst);
    }
    one
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

/// Runs all classes; lines that say what came of it, and what was demanded and is not met.
fn run_all(count: usize, mixed_count: usize) -> (Vec<String>, Vec<String>) {
    let (mut lines, mut unmet) = (Vec::new(), Vec::new());
    let mut all = Tally::default();
    for (mixed, count) in [(false, count), (true, mixed_count)] {
        for class in CLASSES {
            let tally = run(class, count, mixed);
            let line = said(class, &tally, mixed);
            println!("{line}");
            let none = tally.panics + tally.not_finite + tally.wrong_topology + tally.outside + tally.wrongly_refused;
            // The oracle must settle all but a few, or it has checked nothing. Garments need no way out.
            let settled = tally.unsettled * 100 <= tally.outlines;
            let garments = class != Class::Gentle || tally.typed_errors + tally.slower == 0;
            if none > 0 || !settled || !garments {
                unmet.push(line.clone());
            }
            all.add(&tally);
            lines.push(line);
        }
    }
    let Tally { outlines, typed_errors, slower, .. } = all;
    lines.push(format!("All: {outlines} outlines, {typed_errors} typed errors, {slower} by the slower way"));
    if typed_errors * 200 >= outlines || slower * 100 >= outlines {
        unmet.extend(lines.last().cloned());
    }
    (lines, unmet)
}

/// A tenth of the full count.
#[test]
fn seeded_outlines_agree_with_the_oracles() {
    let (_, unmet) = run_all(250, 50);
    assert!(unmet.is_empty(), "{unmet:#?}");
}

/// Curves about a cusp, from a billionth to a hundredth part off it to either side (smooth there, or a loop), within both
/// tolerances; a loop that can be seen is refused.
#[test]
fn near_cusps_of_every_degree() {
    let mut random = Random(7);
    let (mut cut, mut refused) = (0, 0);
    for number in 0..400 {
        let long = random.within(60.0, 400.0);
        let lift = long * random.within(0.05, 0.6) * if random.chance(0.5) { 1.0 } else { -1.0 };
        let off = 10.0_f64.powf(random.within(-9.0, -2.0)) * if random.chance(0.5) { 1.0 } else { -1.0 };
        let (near, far) = (-off * long, (1.0 + off) * long);
        // Where the control points stand above the other end points it is a cusp (geometry); a shear changes nothing.
        let cubic = CubicBez::new((0.0, 0.0), (far, lift), (near, lift), (long, 0.0));
        let cubic = Affine::new([1.0, 0.0, random.within(-0.5, 0.5), 1.0, 0.0, 0.0]) * cubic;
        let cubic = cubic.subsegment(random.within(0.0, 0.3)..random.within(0.7, 1.0));
        let corners = [cubic.p3, cubic.p3 + Vec2::new(30.0, 700.0), cubic.p0 + Vec2::new(-30.0, 700.0), cubic.p0];
        let lines = corners.windows(2).map(|pair| PathSeg::Line(Line::new(pair[0], pair[1])));
        let width = random.within(2.0, 30.0);
        let turned = Affine::rotate(random.within(0.0, 6.0));
        let edges = std::iter::once(PathSeg::Cubic(cubic)).chain(lines).map(|segment| {
            let path = BezPath::from_path_segments(std::iter::once(turned * segment));
            (path, width, Finish::Round)
        });
        let piece = piece_of(edges.collect());
        for tolerance in [TOLERANCE, 0.001] {
            let Ok((ours, _)) = allow(&piece, tolerance) else {
                let crosses = |chord: &f64| sew_chain(&piece, *chord).crosses_itself(1e-3 * chord);
                assert!([1e-4, 1e-6, 1e-8].iter().any(crosses), "{number} is refused and does not cross itself");
                refused += 1;
                continue;
            };
            let error = capsule_error(&piece, &Chain::closed(flattened(&ours.cut_line, 2e-4)), width);
            assert!(error <= tolerance + 4e-4, "{number}, {off:e} off a cusp: {error} mm at {tolerance}");
            cut += 1;
        }
    }
    assert!(cut > 500 && refused > 50, "{cut} cut, {refused} refused");
}

/// 10,000 outlines with one width and 2,000 with mixed widths, all classes alike.
#[test]
#[ignore = "the full count takes minutes"]
fn full() {
    let (lines, unmet) = run_all(2500, 500);
    let verdict =
        if unmet.is_empty() { "Every demand is met.".into() } else { format!("NOT MET:\n{}", unmet.join("\n")) };
    let (cores, kind) = (std::thread::available_parallelism().map_or(1, usize::from), std::env::consts::ARCH);
    let text = format!(
        "cargo test --release --test allow_oracle -- --ignored full; {cores}-core {kind}, tolerance {TOLERANCE} mm\n\n\
         {}\n\n{verdict}\n",
        lines.join("\n")
    );
    record("Seeded outlines against brute-force capsules, clipper2-rust 1.2 and the region's definition", &text);
    assert!(unmet.is_empty(), "{unmet:#?}");
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
