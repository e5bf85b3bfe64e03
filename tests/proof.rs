//! Good files pass, and every fault that a file could have is caught in every format.
#![allow(missing_docs)]

mod formats_support;

use formats_support::{FORMATS, Format, correction, scene};
use kurbo::Affine;
use oaktag::calibrate::correct;
use oaktag::device::Correction;
use oaktag::order::Job;
use oaktag::proof::{Proof, prove};

/// J of a real machine: a roll plotter that stretches, shrinks and leans.
fn leaning() -> Correction {
    correction(0.9973, 1.0021, 0.0008)
}

/// Writes a job, reads it back and proves it against the scene's sheet.
fn proven(format: Format, seed: u64, applied: Option<&Correction>, spoil: impl Fn(&mut Job)) -> Proof {
    let (sheet, device, _) = scene(format, seed, None);
    let mut job = formats_support::job(&sheet, &device, seed ^ 0xabcd);
    spoil(&mut job);
    let bytes = format.write(&correct(job, applied));
    let drawing = format.read(&bytes).unwrap_or_else(|finding| panic!("{format:?}: {finding}"));
    prove(&drawing, &sheet, &device, Some(&leaning()))
}

fn everywhere(job: &mut Job, affine: Affine) {
    for stroke in job.passes.iter_mut().flat_map(|pass| &mut pass.strokes) {
        stroke.path.apply_affine(affine);
    }
}

#[test]
fn good_files_pass() {
    for format in FORMATS {
        for seed in 0..40 {
            let proof = proven(format, seed, Some(&leaning()), |_| ());
            assert!(proof.passed, "{format:?} {seed}: {proof:?}");
            assert_eq!((proof.missing, proof.extra), (0, 0));
            // Exact languages are held to the grid, not only to the allowance.
            let bound = if format == Format::Polyline { formats_support::TOLERANCE + 1e-3 } else { 1e-3 };
            assert!(proof.largest < bound, "{format:?} {seed}: {}", proof.largest);
            let square = proof.square.expect("drawn");
            assert!(square.as_drawn.iter().all(|side| (side - 300.0).abs() < 1e-4), "{square:?}");
            assert!((square.in_file[0] - 300.0 / 0.9973).abs() < 1e-4, "{square:?}");
        }
    }
}

#[test]
fn faults_are_caught_in_every_format() {
    let twice = |job: &mut Job| {
        let j = Affine::new([0.9973, 0.0, 0.0008, 1.0021, 0.0, 0.0]);
        everywhere(job, j.inverse());
    };
    let height = 914.4;
    type Fault<'a> = (&'a str, &'a dyn Fn(&mut Job));
    let faults: [Fault; 13] = [
        ("a dropped path", &|job| drop(job.passes[0].strokes.pop())),
        ("a dropped dot", &|job| {
            let strokes = &mut job.passes[0].strokes;
            let dot = strokes.iter().position(|s| s.role == oaktag::role::Role::Drill).expect("drawn");
            strokes.remove(dot);
        }),
        ("a doubled path", &|job| {
            let again = job.passes[1].strokes[0].clone();
            job.passes[1].strokes.push(again);
        }),
        ("a mirror", &|job| everywhere(job, Affine::new([-1.0, 0.0, 0.0, 1.0, 1200.0, 0.0]))),
        ("upside down", &|job| everywhere(job, Affine::new([1.0, 0.0, 0.0, -1.0, 0.0, height]))),
        ("swapped axes", &|job| everywhere(job, Affine::new([0.0, 1.0, 1.0, 0.0, 0.0, 0.0]))),
        ("inches as millimetres", &|job| everywhere(job, Affine::scale(25.4))),
        ("millimetres as inches", &|job| everywhere(job, Affine::scale(1.0 / 25.4))),
        ("a doubled correction", &twice),
        ("a shift of 0.1 mm", &|job| everywhere(job, Affine::translate((0.1, 0.0)))),
        ("one path shifted by 0.1 mm", &|job| {
            job.passes[1].strokes[0].path.apply_affine(Affine::translate((0.0, -0.1)));
        }),
        ("a role on another layer", &|job| job.passes[1].strokes[0].role = oaktag::role::Role::Sew),
        ("a line drawn there and back", &|job| {
            let stroke = job.passes[0].strokes.iter_mut().find(|s| s.role == oaktag::role::Role::Notch);
            let path = &mut stroke.expect("drawn").path;
            let start = path.elements()[0].end_point().expect("a move");
            path.line_to(start);
        }),
    ];
    for format in FORMATS {
        for (what, spoil) in &faults {
            let proof = proven(format, 7, Some(&leaning()), spoil);
            assert!(!proof.passed && !proof.reasons.is_empty(), "{format:?}: {what} passed");
        }
        let proof = proven(format, 7, None, |_| ());
        assert!(!proof.passed, "{format:?}: an uncorrected file passed");
    }
}
