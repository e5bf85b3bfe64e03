//! Profiles: what is read, and what is refused with the place and the next step.

use oaktag::device::{Device, Language, MediumKind, ToolKind, read};
use oaktag::diag::{Finding, Severity};
use oaktag::role::Role;

const ROLL: &str = include_str!("../profiles/roll-plotter.device.kdl");
const CARD: &str = include_str!("../profiles/card-cutter.device.kdl");

fn device(text: &str) -> Device {
    let (device, findings) = read(text, "a.device.kdl").unwrap_or_else(|error| panic!("{error}"));
    assert!(findings.is_empty(), "{findings:?}");
    device
}

fn refusal(text: &str) -> Finding {
    *read(text, "a.device.kdl").expect_err(text)
}

#[test]
fn the_two_profiles_read() {
    let roll = device(ROLL);
    assert_eq!(roll.language, Language::Svg);
    // 36 in × 25.4 mm (International yard and pound agreement, 1959).
    let MediumKind::Roll { width, longest } = roll.media[0].kind else { panic!("a roll") };
    assert!((width - 914.4).abs() < 1e-9 && (longest - 5000.0).abs() < 1e-9);
    assert!(roll.tools.iter().all(|tool| tool.kind == ToolKind::Pen));
    for role in Role::ALL {
        assert_eq!(roll.tools.iter().filter(|tool| tool.roles.contains(&role)).count(), 1, "{role:?}");
    }
    let correction = roll.correction("paper").expect("measured");
    assert!((correction.x - 0.9987).abs() < 1e-12);

    let card = device(CARD);
    assert_eq!(card.language, Language::Dxf);
    let knife = card.tools.last().expect("a tool");
    assert_eq!((knife.kind, &knife.roles[..]), (ToolKind::Knife, &[Role::Cut][..]));
    assert!(card.correction("card").is_some() && card.correction("paper").is_none());
}

/// The numbers of the profiles' corrections agree with the readings that stand beside them:
/// x = mean width / W, y = mean height / H, skew = (d₁² − d₂²) / (4 x W H), for measured = [[x, skew], [0, y]] commanded.
#[test]
fn the_corrections_follow_from_their_readings() {
    for (text, medium, side, readings) in [
        (ROLL, "paper", 600.0, [599.2, 599.2, 600.7, 600.7, 848.7, 848.3]),
        (CARD, "card", 500.0, [500.4, 500.5, 499.7, 499.7, 707.0, 707.4]),
    ] {
        for reading in readings {
            assert!(text.contains(&format!("\"{reading:.1} mm\"")), "{reading} is not in the file");
        }
        let device = device(text);
        let correction = device.correction(medium).expect("measured");
        let x = f64::midpoint(readings[0], readings[1]) / side;
        let y = f64::midpoint(readings[2], readings[3]) / side;
        let skew = (readings[4] * readings[4] - readings[5] * readings[5]) / (4.0 * x * side * side);
        // Readings to 0.1 mm: half of that, over the side.
        let half = 0.05 / side;
        assert!((correction.x - x).abs() <= half && (correction.y - y).abs() <= half, "{x} {y}");
        assert!((correction.skew - skew).abs() <= 2.0 * half, "{skew}");
    }
}

const SMALL: &str = "device \"D\" {\n    language \"svg\"\n    medium \"paper\" kind=\"roll\" width=\"24 in\" longest=\"2000\" margin=\"5\"\n    tool \"pen\" { draws \"cut\" \"sew\"; }\n}\n";

#[test]
fn what_is_refused() {
    device(SMALL);
    for (from, to, line, message, hint) in [
        ("language", "langauge", 2, "there is no entry \"langauge\"", "did you mean \"language\"?"),
        ("svg", "hpgl2", 2, "there is no language \"hpgl2\"", "known languages: svg, dxf"),
        ("kind=\"roll\"", "kind=\"rol\"", 3, "no kind of medium \"rol\"", "\"roll\""),
        ("width", "widht", 3, "no property \"widht\"", "\"width\""),
        ("24 in", "24 inchs", 3, "not a length", ""),
        ("24 in", "-24 in", 3, "more than 0", ""),
        ("\"2000\"", "#inf", 3, "a length under 100 m", ""),
        ("\"2000\"", "#nan", 3, "a length under 100 m", ""),
        ("longest", "height", 3, "a roll has no \"height\"", "longest"),
        ("margin=\"5\"", "margin=\"305\"", 3, "less than half", ""),
        ("draws \"cut\"", "draws \"cutt\"", 4, "no role \"cutt\"", "\"cut\""),
        ("draws \"cut\"", "draw \"cut\"", 4, "no entry \"draw\"", "\"draws\""),
        ("\"sew\";", "\"cut\";", 4, "already carried out by the tool \"pen\"", ""),
        ("\"sew\";", "\"sew\"; cuts \"notch\";", 4, "can't both draw and cut", "two tools"),
        ("    tool", "    correction \"2026-02-30x\" medium=\"paper\" x=1.0 y=1.0\n    tool", 4, "not a date", ""),
        (
            "    tool",
            "    correction \"2026-02-03\" medium=\"papr\" x=1.0 y=1.0\n    tool",
            4,
            "no medium \"papr\"",
            "\"paper\"",
        ),
        (
            "    tool",
            "    correction \"2026-02-03\" medium=\"paper\" x=25.4 y=1.0\n    tool",
            4,
            "between 0.5 and 2",
            "",
        ),
        (
            "    tool",
            "    correction \"2026-02-03\" medium=\"paper\" x=#nan y=1.0\n    tool",
            4,
            "between 0.5 and 2",
            "",
        ),
        ("    tool", "    correction \"2026-02-03\" medium=\"paper\" x=1.0\n    tool", 4, "needs y=", ""),
        (
            "    tool",
            "    correction \"2026-02-03\" medium=\"paper\" x=1 y=1 skew=0.01\n    tool",
            4,
            "leans 6.0 mm",
            "margin",
        ),
        ("\"sew\";", "\"sew\"; ) ", 4, "", ""),
    ] {
        assert!(SMALL.contains(from), "{from}");
        let finding = refusal(&SMALL.replacen(from, to, 1));
        assert_eq!(finding.severity, Severity::Error);
        assert!(finding.message.contains(message), "{to}: {finding}");
        assert!(finding.hint.as_deref().unwrap_or("").contains(hint), "{to}: {finding}");
        assert_eq!(finding.snippet.expect("points into the file").line_column().0, line, "{to}");
    }
    for (text, message) in [("", "describes no device"), ("device \"D\"", "no language")] {
        assert!(refusal(text).message.contains(message), "{text}");
    }
}

#[test]
fn an_idle_tool_is_worth_a_warning() {
    let idle = SMALL.replacen("    tool", "    tool \"spare\" { draws; }\n    tool", 1);
    let (_, findings) = read(&idle, "a.device.kdl").expect("reads");
    assert_eq!((findings.len(), findings[0].severity), (1, Severity::Warning));
    assert!(findings[0].message.contains("\"spare\""));
}

#[test]
fn the_newest_correction_of_the_medium_counts() {
    let text = SMALL.replacen(
        "    tool",
        "    medium \"card\" kind=\"sheet\" width=\"500\" height=\"700\" margin=\"5\"
    correction \"2026-03-01\" medium=\"paper\" x=1.003 y=1
    correction \"2026-04-01\" medium=\"card\" x=1.004 y=1
    correction \"2026-01-01\" medium=\"paper\" x=1.001 y=1
    tool",
        1,
    );
    let device = device(&text);
    assert!((device.correction("paper").expect("measured").x - 1.003).abs() < 1e-12);
    assert_eq!(device.corrections[0].date, "2026-01-01");
    assert_eq!(device.corrections.len(), 3);
}

#[test]
fn too_large_and_too_deep_are_refused_before_parsing() {
    let large = format!("{SMALL}//{}", " ".repeat(1_000_000));
    assert!(refusal(&large).message.contains("1000000"));
    for deep in
        ["a {".repeat(200_000), "a { // }\n".repeat(60_000), "/*".repeat(300_000), "a { b #\"}\"#\n".repeat(60_000)]
    {
        let finding = refusal(&deep);
        assert!(finding.message.contains("nested deeper than 64"), "{finding}");
    }
    // What overflows the parser's stack, or keeps it busy for minutes, does not reach it.
    for stray in ["}", ")", "a=", "/- ", " \\", " =", "=\"", "[ ", " #\"", "a /- {"] {
        refusal(&stray.repeat(30_000 / stray.len()));
    }
    // Braces in strings and comments are not nesting.
    let quoted = SMALL.replacen("device \"D\"", &format!("// {0}\n/* {0} */ device \"{0}\"", "{".repeat(100)), 1);
    assert_eq!(device(&quoted).name.len(), 100);
}

#[test]
fn spoilt_profiles_never_panic() {
    // Every cut and every doubled or lost byte of a profile reads or is refused.
    for text in [SMALL, ROLL, CARD] {
        let bytes = text.as_bytes();
        for at in (0..bytes.len()).step_by(1 + bytes.len() / 80) {
            let mut versions = vec![bytes[..at].to_vec(), bytes.to_vec(), bytes.to_vec()];
            versions[1].remove(at);
            for stray in *b"{}\"#/*-\\;(=" {
                let mut version = bytes.to_vec();
                version.insert(at, stray);
                versions.push(version);
            }
            for version in versions {
                if let Ok(text) = String::from_utf8(version) {
                    let _ = read(&text, "a.device.kdl");
                }
            }
        }
    }
}
