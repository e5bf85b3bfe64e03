//! The correction: what a machine draws from a corrected file is what was wanted.

use kurbo::{Affine, BezPath, Point, Rect, Shape};
use oaktag::calibrate::{CorrectedJob, correct, identity, stamp_text};
use oaktag::device::Correction;
use oaktag::order::{Job, JobStroke, Pass};
use oaktag::role::Role;

fn job(path: BezPath) -> Job {
    let stroke = JobStroke { role: Role::Square, piece: String::new(), placed: None, edge: String::new(), path };
    Job {
        sizes: Vec::new(),
        device: "D".into(),
        medium: "paper".into(),
        title: "Tunic, Ida, sheet 1 of 1".into(),
        width: 1000.0,
        height: 900.0,
        zero: Point::ORIGIN,
        square: 100.0,
        passes: vec![Pass { tool: "pen".into(), strokes: vec![stroke] }],
    }
}

fn correction(x: f64, y: f64, skew: f64) -> Correction {
    Correction::plain("2026-10-02", "paper", x, y, skew)
}

fn path(job: &CorrectedJob) -> &BezPath {
    &job.job().passes[0].strokes[0].path
}

#[test]
fn a_square_is_written_larger_for_a_machine_that_draws_small() {
    // 300 / 0.9987 = 300.3905 mm and 300 / 1.0012 = 299.6404 mm, by long division.
    let square = Rect::new(10.0, 10.0, 310.0, 310.0).to_path(0.1);
    let corrected = correct(job(square), Some(&correction(0.9987, 1.0012, 0.0)));
    let bounds = path(&corrected).bounding_box();
    assert!((bounds.width() - 300.3905).abs() < 5e-5, "{bounds:?}");
    assert!((bounds.height() - 299.6404).abs() < 5e-5, "{bounds:?}");
    assert!((bounds.x0 - 10.0130).abs() < 5e-5, "about the sheet's origin: {bounds:?}");
    // The page grows with it: 1000 / 0.9987 = 1001.3017.
    assert!((corrected.job().width - 1001.3017).abs() < 5e-5);
    assert!((corrected.job().square - 100.0).abs() < 1e-12, "the nominal side stays");
    assert_eq!(corrected.stamp().text, "correction 2026-10-02: x 0.9987, y 1.0012, skew 0");
}

#[test]
fn the_machine_undoes_it() {
    let mut random = 1_u64;
    let mut between = |low: f64, high: f64| {
        // The 64-bit linear congruential generator of Knuth's MMIX.
        random = random.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        low + (high - low) * (random >> 11) as f64 / (1_u64 << 53) as f64
    };
    for _ in 0..200 {
        let correction = correction(between(0.5, 2.0), between(0.5, 2.0), between(-0.1, 0.1));
        let mut nominal = BezPath::new();
        nominal.move_to((between(0.0, 1000.0), between(0.0, 900.0)));
        nominal.line_to((between(0.0, 1000.0), between(0.0, 900.0)));
        let c = [0; 3].map(|_| Point::new(between(0.0, 1000.0), between(0.0, 900.0)));
        nominal.curve_to(c[0], c[1], c[2]);
        let corrected = correct(job(nominal.clone()), Some(&correction));
        // What the machine draws, written out: x' = x·sx + k·y, y' = y·sy.
        let drawn = |p: Point| Point::new(correction.x * p.x + correction.skew * p.y, correction.y * p.y);
        let pairs = nominal.elements().iter().zip(path(&corrected).elements());
        for (wanted, sent) in pairs {
            let (wanted, sent) = (wanted.end_point().expect("a point"), sent.end_point().expect("a point"));
            assert!(drawn(sent).distance(wanted) < 1e-9, "{correction:?}");
            assert!(sent.x <= corrected.job().width + 1e-9 && sent.y <= corrected.job().height + 1e-9, "cut off");
        }
        let both = corrected.stamp().matrix * corrected.stamp().matrix.inverse();
        let strays = both.as_coeffs().into_iter().zip(Affine::IDENTITY.as_coeffs()).map(|(a, b)| (a - b).abs());
        assert!(strays.fold(0.0, f64::max) < 1e-12);
        // A correction the wrong way round does not pass this check.
        let wrong = drawn(drawn(path(&corrected).elements()[1].end_point().expect("a point")));
        assert!(wrong.distance(nominal.elements()[1].end_point().expect("a point")) > 1e-6);
    }
}

#[test]
fn without_a_correction_nothing_moves_and_the_stamp_says_so() {
    let path_in = Rect::new(1.0, 2.0, 3.0, 4.0).to_path(0.1);
    let plain = correct(job(path_in.clone()), None);
    assert_eq!(plain.job(), &job(path_in.clone()));
    assert_eq!((plain.stamp().text.as_str(), plain.stamp().date.as_str()), ("not calibrated", ""));
    assert_eq!(stamp_text(None), "not calibrated");
    let exchange = identity(job(path_in.clone()));
    assert_eq!(exchange.job(), &job(path_in));
    assert_eq!(exchange.stamp().matrix, Affine::IDENTITY);
}
