//! Profiles: what is read, and what is refused with the place and the next step.

use oaktag::device::{
    Blocks, Device, Flow, Language, Link, Margins, MediumKind, Notches, Sequence, Tip, ToolKind, read,
};
use oaktag::diag::{Finding, Severity};
use oaktag::role::Role;

const ROLL: &str = include_str!("../samples/wardrobe-plotter.device.kdl");
const CARD: &str = include_str!("../samples/wardrobe-cutter.device.kdl");

fn device(text: &str) -> Device {
    let (device, findings) = read(text, "a.device.kdl").unwrap_or_else(|error| panic!("{error}"));
    assert!(findings.is_empty(), "{findings:?}");
    device
}

fn refusal(text: &str) -> Finding {
    *read(text, "a.device.kdl").expect_err(text)
}

#[test]
fn the_two_measured_machines_read() {
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

/// The numbers of the samples' corrections agree with the readings that stand beside them:
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
        ("language", "langauge", 2, "\"langauge\" is not known here", "did you mean \"language\"?"),
        ("svg", "gcode", 2, "there is no language \"gcode\"", "known: svg, dxf, pdf, hpgl, hpgl2, rs274"),
        ("kind=\"roll\"", "kind=\"rol\"", 3, "no kind of medium \"rol\"", "\"roll\""),
        ("width", "widht", 3, "\"medium\" knows no \"widht\"", "\"width\""),
        ("24 in", "24 inchs", 3, "this is no length", "12 3/8"),
        ("24 in", "-24 in", 3, "more than 0", ""),
        ("\"2000\"", "#inf", 3, "expected a text in quotes or a number", ""),
        ("\"2000\"", "\"200000\"", 3, "100 m", ""),
        ("\"2000\"", "#nan", 3, "expected a text in quotes or a number", ""),
        ("longest", "height", 3, "a roll has no \"height\"", "longest"),
        ("margin=\"5\"", "margin=\"305\"", 3, "less than half", ""),
        ("draws \"cut\"", "draws \"cutt\"", 4, "no role \"cutt\"", "\"cut\""),
        ("draws \"cut\"", "draw \"cut\"", 4, "\"draw\" is not known here", "\"draws\""),
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
        ("language", "language \"svg\"\n    language", 3, "\"language\" is given twice", ""),
        ("margin=\"5\"", "margin=\"5\" margin=\"6\"", 3, "given twice", ""),
        ("longest=\"2000\" margin=\"5\"", "longest=\"800\" margin=\"300\" grip=\"300\"", 3, "leave nothing of", ""),
        ("\"svg\"", "\"svg\" curves=\"spline\"", 2, "only dxf has a choice of curves", ""),
        ("\"svg\"", "\"hpgl\" encoded=#true", 2, "only hpgl2 can be encoded", ""),
        (
            "    tool",
            "    axes origin=\"centre\"\n    tool",
            4,
            "only for a language that drives a machine",
            "language",
        ),
        ("    tool", "    start \"IN;\"\n    tool", 4, "only for a language that drives a machine", "language"),
        ("    tool", "    pixel \"0.001 mm\"\n    tool", 4, "between 0.01 mm and 20 mm", ""),
        ("    tool", "    sequence \"piece by piece\"\n    tool", 4, "no sequence", "piece-by-piece"),
        ("    tool", "    link \"tcp\"\n    tool", 4, "needs host=", ""),
        ("    tool", "    link \"tcp\" host=\"a\" port=65536\n    tool", 4, "between 1 and 65535", ""),
        ("    tool", "    link \"tcp\" host=\"a\" baud=9600\n    tool", 4, "knows no \"baud\"", ""),
        ("    tool", "    link \"modem\" host=\"a\"\n    tool", 4, "no kind of link \"modem\"", "serial"),
        ("kind=\"roll\"", "kind=\"pages\"", 3, "pages have no \"longest\"", "across"),
        ("\"sew\";", "\"sew\"; drags offset=\"0.5 mm\";", 4, "only for a tool that cuts", ""),
        ("draws \"cut\" \"sew\";", "cuts \"cut\"; drags;", 4, "needs offset=", ""),
        ("draws \"cut\" \"sew\";", "cuts \"cut\"; drags offset=\"0.5 in\" overcut=\"60\";", 4, "less than 50 mm", ""),
        ("draws \"cut\" \"sew\";", "cuts \"cut\"; burns kerf=\"0.2\"; mills kerf=\"3\";", 4, "a second", ""),
        ("draws \"cut\" \"sew\";", "cuts \"cut\"; bridges length=\"1\" every=\"2\";", 4, "four of their lengths", ""),
        ("\"sew\";", "\"sew\"; passes 0;", 4, "between 1 and 20", ""),
        ("\"sew\";", "\"sew\"; passes 1.5;", 4, "a whole number", ""),
        ("\"sew\";", "\"sew\"; force grams=#inf;", 4, "expected a number", ""),
        ("\"sew\";", "\"sew\"; heights up=\"-1\" down=\"-2\";", 4, "above the medium", ""),
        ("\"sew\";", "\"sew\"; number 2; }\n    tool \"b\" { draws \"label\";", 5, "two tools have the number 2", ""),
    ] {
        assert!(SMALL.contains(from), "{from}");
        let finding = refusal(&SMALL.replacen(from, to, 1));
        assert_eq!(finding.severity, Severity::Error);
        assert!(finding.message.contains(message), "{to}: {finding}");
        assert!(finding.hint.as_deref().unwrap_or("").contains(hint), "{to}: {finding}");
        assert_eq!(finding.snippet.expect("points into the file").line_column().0, line, "{to}");
    }
    for (text, message) in [("", "holds no \"device\""), ("device \"D\"", "no language")] {
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

/// Every profile in the folder.
fn profiles() -> Vec<(String, String)> {
    let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/profiles");
    let mut all: Vec<(String, String)> = std::fs::read_dir(folder)
        .expect("profiles")
        .map(|entry| entry.expect("entry").path())
        .map(|path| {
            let name = path.file_name().expect("name").to_string_lossy().into_owned();
            (name, std::fs::read_to_string(&path).expect("reads"))
        })
        .collect();
    all.sort();
    all
}

fn profile(name: &str) -> Device {
    let (_, text) = profiles().into_iter().find(|(file, _)| *file == format!("{name}.device.kdl")).expect(name);
    device(&text)
}

/// A correction is one machine's own: a profile that comes with the program, for anybody's machine, has none.
#[test]
fn no_profile_for_anybodys_machine_is_corrected() {
    let corrected = |text: &str| !device(text).corrections.is_empty();
    let wrong: Vec<String> = profiles().into_iter().filter(|(_, text)| corrected(text)).map(|(name, _)| name).collect();
    assert!(wrong.is_empty(), "{wrong:?}");
    // Seeded: the theatre's own machines would be found.
    assert!(corrected(ROLL) && corrected(CARD));
}

#[test]
fn every_profile_reads_and_those_that_cut_say_so() {
    let profiles = profiles();
    assert!(profiles.len() >= 10, "{}", profiles.len());
    for (name, text) in &profiles {
        let device = device(text);
        assert!(oaktag::device::check(&device).iter().all(|f| f.severity < Severity::Breach), "{name}");
        let lines = oaktag::device::explain(&device);
        for role in Role::ALL {
            let names = |line: &&String| {
                let roles = line.split(';').next().unwrap_or_default();
                line.starts_with("Tool") && roles.split([' ', ',', '.']).any(|word| word == role.name())
            };
            assert_eq!(lines.iter().filter(names).count(), 1, "{name} {role:?}");
        }
        let cautious = |text: &str| text.contains("Caution") && text.contains("maker's manual");
        assert_eq!(device.cuts(), cautious(text), "{name}");
        assert_eq!(device.cuts(), cautious(&lines.join("\n")), "{name}");
    }
    // A seeded fault: the cut line without a tool.
    let spoilt = SMALL.replacen("\"cut\" ", "", 1);
    assert!(oaktag::device::check(&device(&spoilt)).iter().any(|f| f.severity == Severity::Breach));
}

/// A file for other programs is no machine's: nothing of a machine may stand in its profile.
#[test]
fn a_profile_after_d6673_has_nothing_of_a_machine() {
    let (_, text) = profiles().into_iter().find(|(file, _)| file.starts_with("interchange")).expect("there");
    let read = device(&text);
    assert!(read.language.is_for_exchange() && !read.language.drives_a_machine() && !read.cuts());
    assert_eq!((read.language.name(), read.language.extension()), ("dxf", "dxf"));
    assert_eq!(oaktag::device::kind(&read), "file for other programs");
    let lines = oaktag::device::explain(&read).join("\n");
    assert!(lines.contains("after ASTM D6673") && !lines.contains("never measured"), "{lines}");
    assert!(oaktag::device::check(&read).is_empty());
    let correction = "correction \"2026-10-02\" medium=\"drawing\" x=1.001 y=1.0 skew=0.0";
    for (line, words) in [
        (correction, "nothing in it is corrected"),
        ("link \"folder\" path=\"x\"", "goes to no machine"),
        ("start \"IN;\"", "only for a language that drives"),
    ] {
        let spoilt = text.replacen("    tool ", &format!("    {line}\n    tool "), 1);
        assert!(spoilt != text && refusal(&spoilt).message.contains(words), "{line}: {}", refusal(&spoilt));
    }
    for (from, to, words) in [
        ("after=\"ASTM D6673\"", "after=\"ASTM D6963\"", "there is no convention"),
        ("after=", "curves=\"spline\" after=", "all curves are polylines"),
        ("\"dxf\"", "\"svg\"", "only dxf is written after"),
    ] {
        assert!(
            refusal(&text.replacen(from, to, 1)).message.contains(words),
            "{to}: {}",
            refusal(&text.replacen(from, to, 1))
        );
    }
}

#[test]
fn the_profiles_cover_every_kind() {
    let kinds: std::collections::BTreeSet<(&str, &str)> = profiles()
        .iter()
        .map(|(_, text)| device(text))
        .map(|device| (oaktag::device::kind(&device), device.language.name()))
        .collect();
    for wanted in [
        ("pen plotter", "hpgl2"),
        ("pen plotter", "hpgl"),
        ("pen plotter", "svg"),
        ("printer", "pdf"),
        ("drag-knife cutter", "hpgl2"),
        ("tangential-knife cutter", "hpgl2"),
        ("laser", "rs274"),
        ("projector", "svg"),
        ("file for other programs", "dxf"),
    ] {
        assert!(kinds.contains(&wanted), "{wanted:?} of {kinds:?}");
    }
}

#[test]
fn everything_a_profile_says_arrives() {
    let text = r#"device "All" {
        unit "in"
        language "hpgl2" encoded=#true
        units-per-mm 40
        largest 60000
        axes origin="upper-right" x="left" y="down"
        start "\u{1b}%-1B"
        end "SP0;"
        travel mm-per-second=500 lift-seconds=0.5
        sequence "piece-by-piece"
        blocks "net"
        medium "card" kind="sheet" size="A2" margin="10 mm" left="12 mm" top=1 grip="20 mm"
        tool "knife" {
            cuts "cut" "notch"
            drags offset="0.5 mm" swing-above=20
            number 7
            force grams=150
            speed mm-per-second=80
            passes 3
            bridges length="1 mm" every="100 mm"
        }
        tool "wheel" { creases "fold"; turns lift-above=8; number 4; }
        tool "pen" { draws "label" "square"; }
        link "tcp" host="cutter.example"
        link "serial" port="COM3" flow="xon-xoff"
        link "queue" name="wide"
        link "folder" path="/media/card"
    }"#;
    let device = device(text);
    assert_eq!(device.language, Language::Hpgl2Encoded);
    assert_eq!((device.largest, device.start.as_str(), device.end.as_str()), (Some(60_000), "\u{1b}%-1B", "SP0;"));
    assert_eq!((device.sequence, device.blocks, device.notches()), (Sequence::PieceByPiece, Blocks::Net, Notches::Cut));
    // ISO 216: A2 is 420 × 594 mm. Top 1 in; left 12 mm and the grip.
    assert_eq!(device.media[0].kind, MediumKind::Sheet { width: 420.0, height: 594.0 });
    assert_eq!(device.media[0].margins, Margins { left: 32.0, right: 10.0, bottom: 10.0, top: 25.4 });
    // Pens, then wheels, then knives, whatever the file's order.
    let kinds: Vec<ToolKind> = device.tools.iter().map(|tool| tool.kind).collect();
    assert_eq!(kinds, [ToolKind::Pen, ToolKind::Crease, ToolKind::Knife]);
    let knife = &device.tools[2];
    assert_eq!(knife.tip, Tip::Drag { offset: 0.5, swing_above: 20.0, overcut: 0.5, run_in: 1.5 });
    assert_eq!((knife.number, knife.force, knife.speed, knife.passes), (7, Some(150.0), Some(80.0), 3));
    assert_eq!(device.tools[1].tip, Tip::Turning { lift_above: 8.0 });
    assert_eq!(device.links[0], Link::Tcp { host: "cutter.example".into(), port: 9100 });
    assert_eq!(device.links[1], Link::Serial { port: "COM3".into(), baud: 9600, flow: Flow::XonXoff });
    let explained = oaktag::device::explain(&device).join("\n");
    for said in ["upper-right", "3 passes", "force 150 g", "1 mm at least every 100 mm", "port 9100", "Left out: sew"] {
        assert!(explained.contains(said), "{said}: {explained}");
    }
}

#[test]
fn the_machines_axes() {
    // Worked out by hand on a sheet 100 × 50: the flatbed's zero is the lower right, x up, y to the left.
    let flatbed = profile("flatbed-tangential").axes.from_sheet(100.0, 50.0);
    for (sheet, machine) in [((100.0, 0.0), (0.0, 0.0)), ((100.0, 10.0), (10.0, 0.0)), ((95.0, 0.0), (0.0, 5.0))] {
        assert_eq!(flatbed * kurbo::Point::from(sheet), kurbo::Point::from(machine));
    }
    let centred = profile("old-pen-plotter").axes.from_sheet(100.0, 50.0);
    assert_eq!(centred * kurbo::Point::new(0.0, 0.0), kurbo::Point::new(-50.0, -25.0));
    // Neither mirrors the sheet.
    assert!(flatbed.determinant() > 0.0 && centred.determinant() > 0.0);
    let hpgl = SMALL.replacen("\"svg\"", "\"hpgl\"", 1);
    let flat = hpgl.replacen("    tool", "    axes x=\"up\" y=\"down\"\n    tool", 1);
    assert!(refusal(&flat).message.contains("same line"));
}

#[test]
fn sixteen_bits_bound_the_sheet() {
    // 32,767 plotter units of 0.025 mm are 819.175 mm; an A1 sheet is 841 mm long (ISO 216).
    let (_, text) = profiles().into_iter().find(|(file, _)| file.starts_with("old-pen")).expect("there");
    let corner = text.replacen("axes origin=\"centre\"", "axes origin=\"lower-left\"", 1);
    let finding = refusal(&corner);
    assert!(finding.message.contains("829.0 mm") && finding.message.contains("819.2 mm"), "{finding}");
    // With 22 mm more at the top it just fits.
    device(&corner.replacen("margin=\"12 mm\"", "margin=\"12 mm\" top=\"22 mm\"", 1));
}

#[test]
fn pages_are_a_roll_glued_together() {
    // A4 less 10 mm along every side is 190 × 277 mm; glued with 10 mm overlap, 12 along and 4 across make
    // 12 · 180 + 10 and 4 · 267 + 10 mm (worked out by hand).
    let paper = &profile("home-printer-a4").media[0];
    assert_eq!(paper.kind, MediumKind::Roll { width: 1078.0, longest: 2170.0 });
    // Half a millimetre, so that no line is cut in half at the edge of the outermost pages.
    assert_eq!(paper.margins, Margins::all(0.5));
    let letter = profile("home-printer-letter").media[0].pages.expect("pages");
    // 8 1/2 × 11 in (ASME Y14.1).
    assert!((letter.width - 8.5 * 25.4).abs() < 1e-9 && (letter.height - 11.0 * 25.4).abs() < 1e-9);
    let (_, text) = profiles().into_iter().find(|(file, _)| file.starts_with("home-printer-a4")).expect("there");
    let finding = refusal(&text.replacen("\"pdf\"", "\"svg\"", 1));
    assert!(finding.message.contains("only for pdf"), "{finding}");
    let finding = refusal(&text.replacen("overlap=\"10 mm\"", "overlap=\"95 mm\"", 1));
    assert!(finding.message.contains("leave nothing of a page"), "{finding}");
}
