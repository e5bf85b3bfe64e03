//! Test squares in every language, corrections into profiles and back, the medium as it really is. What outside readers and
//! simulated machines find is in `tests/outside/true_size.py`.

use oaktag::calibrate::Size;
use oaktag::device::{self, Correction, Device, FeedSpan, Language, Medium, MediumKind, stale, with_correction};
use oaktag::pipeline::{NamedDevice, SquareRequest, plan_square, test_square};
use oaktag::proof::prove;

const PROFILES: [&str; 11] = [
    "card-cutter",
    "flatbed-tangential",
    "home-printer-a4",
    "home-printer-letter",
    "laser",
    "old-pen-plotter",
    "projector",
    "roll-inkjet",
    "roll-pen-plotter",
    "roll-plotter",
    "sheet-drag-knife",
];

fn profile(name: &str) -> (String, Device) {
    let path = format!("{}/profiles/{name}.device.kdl", env!("CARGO_MANIFEST_DIR"));
    let text = std::fs::read_to_string(path).expect("a profile");
    let device = device::read(&text, name).unwrap_or_else(|e| panic!("{e}")).0;
    (text, device)
}

fn crooked(medium: &str) -> Correction {
    let mut crooked = Correction::plain("2027-01-05", medium, 0.9981, 1.0013, -0.0007);
    let span = |from, scale| FeedSpan { from, scale };
    crooked.feed = vec![span(0.0, 0.9975), span(131.0, 0.9992), span(262.5, 0.9979)];
    crooked
}

#[test]
fn every_profile_draws_a_square_and_verifies_it_through_a_stretching_feed() {
    let mut languages: Vec<Language> = Vec::new();
    for name in PROFILES {
        let (_, mut device) = profile(name);
        let medium = device.media[0].name.clone();
        device.corrections.push(crooked(&medium));
        let mut variants = vec![device.language];
        variants.extend(match device.language {
            Language::Dxf => Some(Language::DxfPolyline),
            Language::Hpgl2 => Some(Language::Hpgl2Encoded),
            _ => None,
        });
        for language in variants {
            device.language = language;
            languages.push(language);
            let named = NamedDevice { name: name.into(), device: device.clone() };
            for (size, verify) in [(Size::Largest, false), (Size::Small, false), (Size::Largest, true)] {
                let request = SquareRequest { medium: None, size, ladder: None, verify };
                let (written, _) = test_square(&named, &request).unwrap_or_else(|e| panic!("{name}: {e}"));
                assert!(written.proof.passed, "{name} {language:?} {verify}: {:?}", written.proof.reasons);
                assert!(written.proof.strokes > 30);
            }
        }
    }
    for language in [Language::Svg, Language::Pdf, Language::Dxf, Language::Hpgl, Language::Hpgl2, Language::Rs274] {
        assert!(languages.contains(&language), "{language:?} was not drawn");
    }
}

#[test]
fn a_wrong_feed_fails_the_proof() {
    let (_, mut device) = profile("roll-plotter");
    device.corrections.push(crooked("paper"));
    let named = NamedDevice { name: "roll-plotter".into(), device: device.clone() };
    let request = SquareRequest { medium: None, size: Size::Largest, ladder: None, verify: true };
    let (written, _) = test_square(&named, &request).expect("drawn");
    let drawing = oaktag::read::svg(written.file.bytes(), "square.svg").expect("reads").0;
    let proof = |correction: &Correction| prove(&drawing, &written.square.sheet, &device, Some(correction));
    assert!(proof(&crooked("paper")).passed);
    let mut moved = crooked("paper");
    moved.feed[1].from += 20.0;
    assert!(!proof(&moved).passed, "a span that begins 20 mm later");
    let mut flat = crooked("paper");
    flat.feed.clear();
    assert!(!proof(&flat).passed, "one scale in place of three");
    assert!(!prove(&drawing, &written.square.sheet, &device, None).passed, "no correction at all");
}

#[test]
fn corrections_are_added_and_taken_back_and_nothing_is_lost() {
    for name in PROFILES {
        let (text, device) = profile(name);
        let medium = device.media[0].name.clone();
        let mut first = crooked(&medium);
        first.readings =
            vec![device::Reading { name: "width".into(), values: vec!["35 1/16 in".into(), "a \"b\"".into()] }];
        let longer = with_correction(&text, name, &first).unwrap_or_else(|e| panic!("{name}: {e}"));
        // Every line that was there is there, in its order.
        let mut lines = longer.lines();
        assert!(text.lines().all(|line| lines.any(|other| other == line)), "{name}");
        let mut now = device::read(&longer, name).expect("reads").0;
        assert_eq!(now.correction(&medium).map(|c| (&c.date, &c.readings)), Some((&first.date, &first.readings)));
        // Two on one day, then back, and back again to what was before both.
        let second = Correction::plain("2027-01-05", &medium, 1.001, 1.002, 0.0);
        let third = Correction::plain("2027-01-05", &medium, 1.003, 1.004, 0.0);
        let mut text = longer;
        for each in [&second, &third] {
            text = with_correction(&text, name, each).expect("added");
        }
        for wanted in [second.x, first.x] {
            now = device::read(&text, name).expect("reads").0;
            let back = now.back(&medium, "2027-01-06").expect("something to go back to");
            assert!((back.x - wanted).abs() < 1e-9, "{name}: {back:?}");
            text = with_correction(&text, name, &back).expect("added");
        }
        let count = device.corrections.iter().filter(|c| c.medium == medium).count() + 5;
        now = device::read(&text, name).expect("reads").0;
        assert_eq!(now.corrections.iter().filter(|c| c.medium == medium).count(), count, "{name}");
        // To the very beginning, and no further.
        for _ in 0..count {
            let Ok(back) = now.back(&medium, "2027-01-07") else { break };
            text = with_correction(&text, name, &back).expect("added");
            now = device::read(&text, name).expect("reads").0;
        }
        let last = now.correction(&medium).expect("recorded");
        assert!(last.back_to == "none" && (last.x - 1.0).abs() < 1e-12, "{last:?}");
        assert!(now.back(&medium, "2027-01-08").is_err());
    }
    assert!(with_correction("device", "x", &crooked("paper")).is_err());
}

#[test]
fn old_corrections_and_changed_media_are_said() {
    let (_, mut device) = profile("roll-plotter");
    device.corrections = vec![Correction { on: device.media[0].shape(), ..crooked("paper") }];
    // 180 days from 2027-01-05 are 2027-07-04 (by the calendar: 26 + 28 + 31 + 30 + 31 + 30 + 4).
    assert!(stale(&device, "2027-07-04").is_empty());
    assert_eq!(stale(&device, "2027-07-05").len(), 1);
    device.media[0].kind = MediumKind::Roll { width: 1066.8, longest: 5000.0 };
    assert_eq!(stale(&device, "2027-01-06").len(), 1, "another roll");
}

#[test]
fn a_machine_that_draws_short_reaches_less() {
    let roll = Medium::plain("paper", MediumKind::Roll { width: 914.4, longest: 2000.0 }, 10.0, 5.0);
    let drawn = roll.as_drawn(Some(&Correction::plain("2027-01-05", "paper", 0.99, 0.98, 0.0)));
    // Told 904.4 mm it comes to 886.312, told 1,990 to 1,970.1; by hand.
    let (longest, width) = drawn.extent();
    assert!((width - drawn.margins.top - 886.312).abs() < 1e-9);
    assert!((longest - drawn.margins.right - 1970.1).abs() < 1e-9);
    assert!(drawn.margins.bottom >= 10.0 && drawn.margins.left >= 10.0);
    // One that draws long stops at the margin all the same.
    let long = roll.as_drawn(Some(&Correction::plain("2027-01-05", "paper", 1.01, 1.02, 0.0)));
    assert!((long.extent().1 - long.margins.top - 904.4).abs() < 1e-9);
    // The second square of a machine that draws 2 % short is smaller than the first.
    let mut device = profile("roll-plotter").1;
    device.corrections = vec![Correction::plain("2027-01-05", "paper", 0.98, 0.98, 0.0)];
    let side = |verify| {
        let request = SquareRequest { medium: None, size: Size::Largest, ladder: None, verify };
        plan_square(&device, &request).expect("has room").0.height
    };
    assert!(side(false) - side(true) > 10.0);
}
