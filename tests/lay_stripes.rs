//! Stripes and checks matched, strips cut for the cloth, and lays as a device's file, on the project's own samples.

mod common;

use common::{drafted, text};
use kurbo::{Affine, PathEl, Point, Shape, Vec2};
use oaktag::cloth::{Cloth, Match, StripWay, Way};
use oaktag::device;
use oaktag::lay::cloth::{Garment, OnCloth};
use oaktag::lay::search::Budget;
use oaktag::lay::{prove_cloth, stripes, strips};
use oaktag::pipeline::{self, LaidCloth, NamedDevice};
use oaktag::role::Role;
use oaktag::units::Unit;

const BUDGET: Budget = Budget { evaluations: 20_000, seconds: None, threads: 2, seed: 1, enough: 0.0 };

fn matched(seam: &str, axes: [bool; 2]) -> Match {
    Match { seam: seam.into(), notch: 1, axes: Some(axes) }
}

/// A check of 4 by 3 in on cloth 60 in wide; the sides and the back waist are matched.
fn check() -> Cloth {
    let matches = vec![
        matched("side", [true, false]),
        matched("side below the waist", [true, false]),
        matched("back waist", [false, true]),
    ];
    Cloth { repeat: [101.6, 76.2], matches, ..Cloth::plain("main cloth", 1524.0, Unit::Inch) }
}

fn laid(cloth: &Cloth) -> LaidCloth {
    let set = drafted("evening-chorus", "maren-holt");
    pipeline::lay_on_cloth(&[&set], cloth, &[], 1.0, &BUDGET, &mut |_| true).expect("lays")
}

/// Half way along a straight edge, from its ends; in the piece's coordinates.
fn half_way(laid: &LaidCloth, piece: &str, edge: &str) -> Point {
    let path = &laid.cut[0].0.piece(piece).expect("a piece").edge(edge).expect("an edge").path;
    let ends: Vec<Point> = path.elements().iter().filter_map(PathEl::end_point).collect();
    ends[0].midpoint(ends[ends.len() - 1])
}

fn off(a: f64, b: f64, period: f64) -> f64 {
    let apart = (a - b) / period;
    (apart - apart.round()).abs() * period
}

#[test]
fn the_sides_meet_the_same_bar() {
    for (folded, way) in [(false, Way::Either), (false, Way::One), (true, Way::Either)] {
        let mut cloth = Cloth { folded, way, ..check() };
        if folded {
            cloth.matches.pop();
        }
        let laid = laid(&cloth);
        // The side's notch is half way along a straight edge (`part=0.5` in the style): found here from the edge's ends.
        let [front, back] = ["Front", "Back"].map(|piece| half_way(&laid, piece, "side"));
        let of = |name: &'static str| laid.lay.placed.iter().filter(move |placed| placed.piece == name);
        let mut pairs = 0;
        for (a, b) in of("Front").flat_map(|a| of("Back").map(move |b| (a, b))) {
            let missed = off((a.transform * front).x, (b.transform * back).x, 101.6);
            assert!(missed < 0.05, "{missed}");
            pairs += 1;
        }
        assert!(pairs > 0);
        assert!(laid.lay.placed.iter().all(|placed| placed.turned == laid.lay.placed[0].turned));
    }
}

#[test]
fn a_missed_stripe_is_caught() {
    let cloth = check();
    let laid = laid(&cloth);
    let (set, cut) = &laid.cut[0];
    let ties = stripes::ties(set, &cloth).expect("ties");
    assert_eq!(ties.len(), 3);
    let garments = [Garment { person: &set.person, pieces: cut, ties: &ties }];
    prove_cloth(&laid.lay, &garments, &cloth).expect("sound");
    let shifted = |by: Vec2, which: &dyn Fn(&OnCloth) -> bool| {
        let mut lay = laid.lay.clone();
        // Everything far enough apart that nothing but the pattern can be wrong.
        lay.length += 60_000.0;
        let mut next = 0.0;
        for placed in &mut lay.placed {
            let far = Vec2::new(next, 0.0) + if which(placed) { by } else { Vec2::ZERO };
            next += 101.6 * 20.0;
            placed.outline.apply_affine(Affine::translate(far));
            placed.transform = Affine::translate(far) * placed.transform;
        }
        prove_cloth(&lay, &garments, &cloth)
    };
    // By whole repeats all is well; by less it is not.
    shifted(Vec2::ZERO, &|_| false).expect("whole repeats");
    for by in [0.2, 10.0, 50.8] {
        let finding = shifted(Vec2::new(by, 0.0), &|placed| placed.piece == "Back").expect_err("missed");
        assert!(finding.message.contains("pattern misses") && finding.message.contains("along"), "{finding}");
    }
    // Across: one of the two lower backs, to where there is room.
    let lower = laid.lay.placed.iter().find(|placed| placed.piece == "Back lower part").expect("laid");
    let up = if lower.outline.bounding_box().y0 > 11.0 { -10.0 } else { 10.0 };
    let hand = lower.transform.determinant();
    let one = |placed: &OnCloth| placed.piece == "Back lower part" && placed.transform.determinant() * hand > 0.0;
    let finding = shifted(Vec2::new(0.0, up), &one).expect_err("missed");
    assert!(finding.message.contains("across") || finding.message.contains("leaves"), "{finding}");
}

#[test]
fn what_cannot_be_matched_is_said() {
    let set = drafted("evening-chorus", "maren-holt");
    let lay = |cloth: &Cloth| pipeline::lay_on_cloth(&[&set], cloth, &[], 1.0, &BUDGET, &mut |_| true);
    let unknown = Cloth { matches: vec![matched("sides", [true, false])], ..check() };
    let finding = lay(&unknown).expect_err("no such seam");
    assert!(finding.message.contains("does not have") && finding.hint.is_some_and(|hint| hint.contains("side")));
    let none = Cloth { matches: vec![Match { notch: 9, ..matched("side", [true, false]) }], ..check() };
    assert!(lay(&none).expect_err("no such notch").message.contains("no notch 9"));
    let no_repeat = Cloth { repeat: [0.0; 2], ..check() };
    assert!(lay(&no_repeat).expect_err("no repeat").message.contains("no repeat"));
}

/// The strips of a style, cut for the cloth: nothing of their length is lost, and each length fits.
#[test]
fn strips_are_cut_the_cloths_way() {
    let set = drafted("lantern-night", "maren-holt");
    let drafted = strips::strips(&set);
    let names: Vec<&str> = drafted.iter().map(|strip| &*strip.name).collect();
    assert_eq!(names, ["Slanting ruffle", "Hem ruffle"]);
    for (way, folded) in [(StripWay::Along, false), (StripWay::Across, false), (StripWay::Across, true)] {
        let cloth =
            Cloth { strips: way, folded, shrinkage: [2.0, 1.0], ..Cloth::plain("main cloth", 1524.0, Unit::Inch) };
        let laid = pipeline::lay_on_cloth(&[&set], &cloth, &[], 1.5, &BUDGET, &mut |_| true).expect("lays");
        for (strip, division) in drafted.iter().zip(&laid.strips) {
            // Twice the seam as drafted, three times when half as full again.
            assert!((strip.times - 2.0).abs() < 1e-9 && (division.times - 3.0).abs() < 1e-9);
            assert!((division.lengths.iter().sum::<f64>() - 1.5 * strip.total).abs() < 1e-6);
            let joined = usize::from(strip.ring) + division.lengths.len() - 1;
            assert_eq!(division.joins.len(), joined);
            if way == StripWay::Along {
                assert_eq!(division.lengths.len(), 1);
            } else {
                let marks = (0..=8).map(|quarter| 1.5 * strip.total * f64::from(quarter) / 4.0);
                let near = marks.flat_map(|mark| division.joins.iter().map(move |join| (mark - join).abs()));
                assert!(near.fold(f64::INFINITY, f64::min) > 12.6, "{:?}", division.joins);
            }
        }
    }
}

fn named(name: &str) -> NamedDevice {
    let file = format!("profiles/{name}.device.kdl");
    NamedDevice { name: name.into(), device: device::read(&text(&file), &file).expect("reads").0 }
}

/// A lay as a device's file goes through the same proof as any other; at a smaller scale every length is that much smaller.
#[test]
fn a_lay_is_written_for_any_device() {
    let cloth = Cloth { folded: true, ..Cloth::plain("main cloth", 1524.0, Unit::Inch) };
    let laid = laid(&cloth);
    for (device, scale) in [
        ("roll-plotter", 1.0),
        ("roll-plotter", 10.0),
        ("card-cutter", 4.0),
        ("home-printer-a4", 10.0),
        ("roll-pen-plotter", 10.0),
    ] {
        let (file, proof, _) = pipeline::lay_file(&laid, &cloth, &named(device), scale).expect("written");
        assert!(proof.passed && file.is_some(), "{device}: {:?}", proof.reasons);
    }
    // 60 in less selvedges, single, are wider than a roll of 36 in; the refusal says which scale would do.
    let single = self::laid(&Cloth { folded: false, ..cloth.clone() });
    let finding = pipeline::lay_file(&single, &cloth, &named("roll-plotter"), 1.0).expect_err("too wide");
    assert!(finding.hint.is_some_and(|hint| hint.contains("--scale 2")), "{}", finding.message);
    // Against the lay itself: one to ten, each outline's box is a tenth of the lay's.
    let stamp = "not calibrated";
    let medium = &named("roll-plotter").device.media[0];
    let sheet = oaktag::lay::marker::marker(&laid.lay, &cloth, &[], medium, 10.0, stamp).expect("drawn");
    for (placed, on_cloth) in sheet.placed.iter().zip(&laid.lay.placed) {
        let (small, large) = (placed.outline.bounding_box(), on_cloth.outline.bounding_box());
        assert!((10.0 * small.width() - large.width()).abs() < 1e-9);
    }
    assert_eq!(sheet.strokes.iter().filter(|stroke| stroke.role == Role::Cut).count(), laid.lay.placed.len());
}
