//! Drafting against the trade's own arithmetic and published drafts.

mod common;

use common::{PEOPLE, drafted, drafted_for, person_of, sample_person, style_of};
use kurbo::{Point, Shape, Vec2};
use oaktag::allow;
use oaktag::diag::Severity;
use oaktag::draft::{self, Choices};
use oaktag::geom::path;
use oaktag::piece::{Piece, PieceSet};
use oaktag::style;
use oaktag::walk::{self, TOLERANCE, walk};

const INCH: f64 = 25.4;

/// Common practice, no source: where the side is square to the chest line, the cut line stands a quarter of the girth
/// and the allowance of an inch from the centre.
#[test]
fn a_quarter_of_the_girth_and_an_inch() {
    let style = style_of(
        r#"needs "bust girth"
        piece "Front" {
            point "top"
            point "corner" from="top" across="bust girth / 4"
            point "foot" from="corner" down="10"
            point "low" from="top" down="10"
            edge "centre front" from="top" to="low" fold=#true
            edge "waist" from="low" to="foot"
            edge "side" from="foot" to="corner" allow="1"
            edge "upper" from="corner" to="top"
        }"#,
    );
    for (bust, cut_at) in [("36", 10.0), ("40", 11.0), ("36 1/2", 10.125)] {
        let set = drafted_for(&style, &person_of(&format!("bust \"{bust}\"")));
        let (cut, _) = allow::allow(&set.pieces[0], allow::TOLERANCE).expect("has a cut line");
        let right = cut.cut_line.bounding_box().x1 / INCH;
        assert!((right - cut_at).abs() < 1e-4, "bust {bust}: {right}");
    }
}

/// Common practice, no source: 16 in across the shoulder and an armhole that stands upright at the shoulder point give
/// 8 1/2 in to the cut line with half an inch to join.
#[test]
fn half_the_shoulder_and_half_an_inch() {
    let style = style_of(
        r#"needs "across shoulder"
        piece "Front" {
            point "top"
            point "shoulder point" from="top" across="across shoulder / 2"
            point "underarm" from="shoulder point" down="8"
            point "low" from="top" down="8"
            edge "centre front" from="top" to="low" fold=#true
            edge "chest" from="low" to="underarm"
            edge "armhole" from="underarm" to="shoulder point" allow="1/2"
            edge "shoulder" from="shoulder point" to="top" allow="1/2"
        }"#,
    );
    let set = drafted_for(&style, &person_of("\"across shoulder\" 16"));
    let (cut, _) = allow::allow(&set.pieces[0], allow::TOLERANCE).expect("has a cut line");
    assert!((cut.cut_line.bounding_box().x1 / INCH - 8.5).abs() < 1e-4);
}

/// Rosenfeld, The Practical Designer, "Woman's first foundation lines", size 36: depth 7, back waist 15 1/2, bust 39; x to
/// the front and y down. L lies 6 from K on the line through I; its place, slope and fall were computed from K and I.
#[test]
fn rosenfeld_foundation_lines() {
    let style = style_of(
        r#"piece "Foundation" {
            point "A"
            point "B" from="A" down="7"
            point "C" from="A" down="15 1/2"
            point "D" from="A" across="12"
            point "F" from="D" plumb-with="D" level-with="C"
            point "G" from="A" across="6" level-with="B"
            point "H" from="G" across="1 1/2"
            point "I" from="A" plumb-with="H"
            point "J" from="A" across="3"
            point "K" from="J" up="1"
            point "L" from="K" towards="I" along="6"
            edge "back" from="A" to="C"
            edge "waist" from="C" to="F"
            edge "front" from="F" to="D"
            edge "upper" from="D" to="L"
            edge "shoulder" from="L" to="K"
            edge "neck" from="K" to="A"
        }"#,
    );
    let set = drafted_for(&style, &person_of("bust 39"));
    let ends: Vec<Point> = set.pieces[0].edges.iter().filter_map(|edge| path::end(&edge.path)).collect();
    let wanted = [(0.0, 15.5), (12.0, 15.5), (12.0, 0.0), (8.857, 0.302), (3.0, -1.0), (0.0, 0.0)];
    for (end, (x, down)) in ends.iter().zip(wanted) {
        assert!((end.x / INCH - x).abs() < 1e-3 && (-end.y / INCH - down).abs() < 1e-3, "{end:?} is not {x}, {down}");
    }
    let shoulder = ends[3] - ends[4];
    assert!(((-shoulder.y).atan2(shoulder.x).to_degrees() - 12.53).abs() < 0.005);
    assert!((shoulder.hypot() / INCH - 6.0).abs() < 1e-9);
}

fn heading(piece: &Piece, edge: &str, end: bool) -> Vec2 {
    let path = &piece.edge(edge).expect(edge).path;
    if end { path::end_tangent(path) } else { path::start_tangent(path) }.expect("has a tangent")
}

fn off_square(a: Vec2, b: Vec2) -> f64 {
    a.dot(b).abs().asin().to_degrees()
}

/// Common practice, no source: the neckline leaves fold and shoulder square; here within 1°.
#[test]
fn necklines_meet_fold_and_shoulder_square() {
    for person in PEOPLE {
        let set = drafted("evening-chorus", person);
        for (name, centre) in [("Front", "centre front"), ("Back", "centre back")] {
            let piece = set.piece(name).expect(name);
            assert!(
                off_square(heading(piece, "neckline", true), heading(piece, centre, false)) < 1.0,
                "{person} {name}"
            );
            assert!(
                off_square(heading(piece, "neckline", false), heading(piece, "shoulder", true)) < 1.0,
                "{person} {name}"
            );
        }
    }
}

/// Joined seams agree within a tenth of a millimetre beside their planned ease, and joined outlines run true within 1°.
#[test]
fn joined_seams_agree_and_run_true() {
    for person in PEOPLE {
        let set = drafted("evening-chorus", person);
        let (walked, findings) = walk::walk(&set, walk::TOLERANCE);
        assert!(findings.is_empty(), "{person}: {}", findings[0]);
        assert_eq!(walked.len(), 12);
        for join in walked {
            assert!(join.difference.abs() < 0.1, "{person}: {} differs by {}", join.name, join.difference);
            for angle in join.through.into_iter().flatten() {
                assert!((angle - 180.0).abs() < 1.0, "{person}: {} bends to {angle}", join.name);
            }
        }
    }
}

/// The seeded fault: any joined edge that is 2 mm longer is found.
#[test]
fn two_millimetres_in_any_joined_edge_are_found() {
    let set = drafted("evening-chorus", "maren-holt");
    let spans: Vec<_> = set.joins.iter().flat_map(|join| join.sides.iter().flatten().cloned()).collect();
    let mut tried = 0;
    for span in spans {
        let mut longer = set.clone();
        let piece = longer.pieces.iter_mut().find(|piece| piece.name == span.piece).expect("is there");
        let edge = piece.edges.iter_mut().find(|edge| edge.name == span.edge).expect("is there");
        let both_sides = set.joins.iter().any(|join| join.sides.iter().all(|side| side.contains(&span)));
        let end = path::end(&edge.path).expect("has one");
        let along = path::end_tangent(&edge.path).expect("has one");
        edge.path.line_to(end + along * 2.0);
        let (_, findings) = walk::walk(&longer, walk::TOLERANCE);
        // An edge sewn to its own mirror image grows on both sides at once.
        assert!(both_sides || !findings.is_empty(), "{span} is 2 mm longer and nobody noticed");
        tried += usize::from(!both_sides);
    }
    assert!(tried >= 20, "{tried}");
}

/// The armhole's level comes from its own measure, half the round armhole below the shoulder point, and no other.
#[test]
fn the_armhole_level_is_its_own_measure() {
    for person in PEOPLE {
        let set = drafted("evening-chorus", person);
        let half = sample_person(person).values["round armhole"].mm / 2.0;
        for name in ["Front", "Back"] {
            let armhole = &set.piece(name).expect(name).edge("armhole").expect("armhole").path;
            let fall = path::end(armhole).expect("end").y - path::start(armhole).expect("start").y;
            assert!((fall - half).abs() < 1e-9, "{person} {name}: {fall}");
        }
    }
}

/// Every piece is one closed outline that runs counter-clockwise.
#[test]
fn outlines_close_and_run_counter_clockwise() {
    for person in PEOPLE {
        for piece in drafted("evening-chorus", person).pieces {
            for (edge, next) in piece.edges.iter().zip(piece.edges.iter().cycle().skip(1)) {
                let gap = path::end(&edge.path).expect("end").distance(path::start(&next.path).expect("start"));
                assert!(gap < 1e-9, "{person} {}: {gap} mm between {} and {}", piece.name, edge.name, next.name);
            }
            assert!(piece.outline().area() > 0.0, "{person} {}", piece.name);
        }
    }
}

/// Back notches are double and the front's single (common practice, no source), and the sleeve's cap carries both and the
/// shoulder's place.
#[test]
fn the_cap_carries_the_notches_of_its_armhole() {
    let set = drafted("evening-chorus", "maren-holt");
    let sleeve = set.piece("Sleeve").expect("Sleeve");
    let mut cap: Vec<_> = sleeve.notches.iter().filter(|notch| notch.edge == "cap").collect();
    cap.sort_by(|a, b| a.at.total_cmp(&b.at));
    assert_eq!(cap.iter().map(|notch| notch.count).collect::<Vec<_>>(), [1, 1, 2]);
    let length = |piece: &str, edge: &str| path::length(&set.piece(piece).expect(piece).edge(edge).expect(edge).path);
    let (front, back) = (length("Front", "armhole"), length("Back", "armhole"));
    // The ease of an inch lies between the notches and is spread evenly there; under the arm the two lie flat.
    let (low, high) = (3.5 * INCH, front + back - 3.75 * INCH);
    let stretch = (high - low + INCH) / (high - low);
    let wanted = [low, low + (front - low) * stretch, high + INCH];
    for (notch, wanted) in cap.iter().zip(wanted) {
        assert!((notch.at - wanted).abs() < 0.01, "{} is not {wanted}", notch.at);
    }
}

fn style_error(body: &str) -> String {
    let text = format!("style \"Test\" {{\nunit \"in\"\n{body}\n}}\n");
    style::read(&text, "test.style.kdl").expect_err(body).to_string()
}

#[test]
fn faults_in_a_style_name_their_place_and_the_nearest_word() {
    let square = r#"point "a"
        point "b" from="a" down="4"
        point "c" from="b" across="4"
        edge "left" from="a" to="b"
        edge "bottom" from="b" to="c""#;
    for (body, words) in [
        (format!("piece \"P\" {{ {square}\n edge \"slope\" from=\"c\" to=\"d\" }}"), "no point \"d\""),
        (format!("piece \"P\" {{ {square}\n edge \"slope\" from=\"c\" to=\"b\" }}"), "starts from \"a\""),
        (format!("piece \"P\" {{ {square}\n edge \"slope\" from=\"c\" to=\"a\" allow=\"1 +\" }}"), "expected a number"),
        ("piece \"P\" like=\"P\" { }".into(), "can't be like itself"),
        ("peice \"P\" { }".into(), "did you mean \"piece\""),
        ("needs \"bust grith\"".into(), "did you mean \"bust girth\""),
        ("choice \"a\" \"1\"\nvalue \"a\" \"2\"\npiece \"P\" {}".into(), "needs two edges"),
        (
            format!("piece \"P\" {{ {square}\n edge \"slope\" from=\"c\" to=\"a\" }}\nseam \"P/left\" \"P/slop\""),
            "did you mean \"slope\"",
        ),
    ] {
        let error = style_error(&body);
        assert!(error.contains(words) && error.contains("test.style.kdl:"), "{body}\n gave: {error}");
    }
}

#[test]
fn formulas_are_dimension_checked_and_point_at_line_and_column() {
    let try_value = |value: &str| {
        let style = style_of(&format!(
            "needs \"bust girth\"\nchoice \"fullness\" 2.5\nvalue \"x\" \"{value}\"\n{}",
            r#"piece "P" { point "a"; point "b" from="a" down="4"; point "c" from="b" across="x"
               edge "left" from="a" to="b"; edge "bottom" from="b" to="c"; edge "slope" from="c" to="a" }"#
        ));
        draft::draft(&style, &person_of("bust 36"), &Choices::new())
    };
    let width = |value: &str| {
        let (set, _) = try_value(value).unwrap_or_else(|e| panic!("{value}: {e}"));
        path::length(&set.pieces[0].edges[1].path) / INCH
    };
    for (value, inches) in [
        ("bust girth / 4", 9.0),
        ("bust girth/4 + 1/4", 9.25),
        ("8-1/2\\\" + 1", 9.5),
        ("(bust + 2) / 2", 19.0),
        ("bust / 8 * fullness", 11.25),
        ("greatest(3, bust / 9)", 4.0),
        ("least(3, bust / 9)", 3.0),
        ("root(bust * bust / 16)", 9.0),
        ("2 * 1 1/2", 3.0),
        ("5 cm", 5.0 / 2.54),
        ("10 in * sin(30 deg)", 5.0),
        ("length of P/left", 4.0),
    ] {
        assert!((width(value) - inches).abs() < 1e-9, "{value}: {}", width(value));
    }
    for (value, words) in [
        ("bust + fullness", "can't be added"),
        ("bust * bust", "a length is wanted here, and this is an area"),
        ("bust / (2 - 2)", "divides by zero"),
        ("bust + waste", "nothing here is called \"waste\""),
        ("waist girth", "add it to the style's needs"),
        ("x + 1", "needs itself"),
        ("length of P/bottom", "needs itself"),
        ("length of P/lefft", "did you mean \"left\""),
        ("fullness", "a length is wanted here, and this is a number"),
        ("root(bust)", "has no root"),
    ] {
        let error = try_value(value).expect_err(value);
        assert!(error.to_string().contains(words), "{value} gave: {error}");
        assert!(error.snippet.is_some(), "{value} has no place: {error}");
    }
    let error = try_value("bust + 3 * waste").expect_err("unknown name");
    assert_eq!(error.snippet.as_ref().expect("place").line_column(), (5, 23));
}

#[test]
fn what_is_missing_is_named_with_the_file_to_mend() {
    let style = common::sample_style("evening-chorus");
    let error = draft::draft(&style, &person_of("bust 36"), &Choices::new()).expect_err("lacks measures");
    assert!(error.message.contains("waist girth"), "{error}");
    assert_eq!(error.file.as_deref(), Some("test.measures.kdl"));
    let mut choices = Choices::new();
    choices.insert("bust eaze".into(), oaktag::source::Text::new("3", "--set"));
    let error = draft::draft(&style, &sample_person("pip-arlen"), &choices).expect_err("unknown choice");
    assert!(error.to_string().contains("did you mean \"bust ease\""), "{error}");
}

/// A choice is of its default's kind, and in the unit of the file or command that sets it.
#[test]
fn choices_are_set_in_the_unit_of_their_file() {
    let style = style_of(
        r#"choice "ease" "2"
        piece "P" { point "a"; point "b" from="a" down="4"; point "c" from="b" across="ease"
          edge "left" from="a" to="b"; edge "bottom" from="b" to="c"; edge "slope" from="c" to="a" }"#,
    );
    let text = "measures \"Ida\" { unit \"cm\"\n choice \"ease\" 7\n taken \"2026-01-01\" { bust 90; } }";
    let (ida, _) = oaktag::measures::read(text, "ida.kdl").expect("reads");
    let width = |choices: &Choices| {
        let (set, _) = draft::draft(&style, &ida, choices).expect("drafts");
        path::length(&set.pieces[0].edges[1].path)
    };
    assert!((width(&Choices::new()) - 70.0).abs() < 1e-9);
    let mut choices = Choices::new();
    choices.insert("ease".into(), oaktag::source::Text::new("3 1/2", "--set"));
    assert!((width(&choices) - 3.5 * INCH).abs() < 1e-9);
}

#[test]
fn a_cap_that_can_not_fit_is_refused_with_what_to_change() {
    let style = common::sample_style("evening-chorus");
    let mut choices = Choices::new();
    choices.insert("sleeve ease".into(), oaktag::source::Text::new("30", "--set"));
    let error = draft::draft(&style, &sample_person("pip-arlen"), &choices).expect_err("too wide");
    assert!(error.message.contains("\"cap height\" never comes right"), "{error}");
}

/// What can't be read at all is refused before the parser sees it, and what can't be drawn with its place.
#[test]
fn bad_input_is_refused_with_a_pointed_finding() {
    let large = format!("style \"Large\" {{ unit \"in\" }}\n//{}", "x".repeat(10_000_000));
    let deep = format!("style \"Deep\" {{ unit \"in\"\n{}{} }}", "piece \"P\" { ".repeat(3_000), "}".repeat(3_000));
    let brackets =
        format!("style \"Deep\" {{ unit \"in\"\n value \"x\" \"{}1{}\" }}", "(".repeat(900), ")".repeat(900));
    for (text, words) in [(large, "the largest read is"), (deep, "deep"), (brackets, "deep")] {
        let error = style::read(&text, "bad.style.kdl").expect_err(words);
        assert!(error.to_string().contains(words), "{words}: {error}");
        assert!(error.snippet.is_some() || error.file.as_deref() == Some("bad.style.kdl"), "{error}");
    }
    let piece = |right: &str| {
        format!(
            r#"needs "bust girth"
            piece "P" {{ point "a"; point "b" from="a" down="4"; point "c" from="b" across="4"
            point "e" from="c" across="bust girth - 40"
            edge "left" from="a" to="b"; edge "bottom" from="b" to="c"; edge "right" from="c" to="a" {right} }}"#
        )
    };
    for (right, words) in [
        // A curve through the point that it starts from, and through one that falls on it for these measures.
        ("through=\"c\"", "two of its points are one"),
        ("through=\"e\"", "two of its points are one"),
        ("allow=\"2 - 3\"", "comes out negative"),
        ("allow=\"bust girth * 2 / (bust girth - 40)\"", "divides by zero"),
    ] {
        let error = draft::draft(&style_of(&piece(right)), &person_of("bust 40"), &Choices::new()).expect_err(right);
        assert!(error.to_string().contains(words), "{right}: {error}");
        assert!(error.snippet.is_some(), "{right}: {error}");
    }
}
/// A skirt on the fold, front and back so wide at the hem, with a ruffle.
fn ruffled(front: &str, back: &str, ruffle: &str) -> Result<oaktag::style::Style, Box<oaktag::diag::Finding>> {
    let half = |wide: &str| {
        format!(
            "cut 1 from=\"main cloth\"
            point \"waist\"; point \"hem level\" from=\"waist\" down=\"20\"
            point \"side waist\" from=\"waist\" across=\"{wide}\"; point \"side hem\" from=\"hem level\" across=\"{wide}\"
            edge \"centre\" from=\"waist\" to=\"hem level\" fold=#true
            edge \"hem\" from=\"hem level\" to=\"side hem\" allow=\"1/2\"
            edge \"side\" from=\"side hem\" to=\"side waist\" allow=\"1/2\"
            edge \"waist\" from=\"side waist\" to=\"waist\" allow=\"1/2\""
        )
    };
    let (front, back) = (half(front), half(back));
    let text = format!(
        "style \"Test\" {{\nunit \"in\"
        piece \"Front\" {{\n{front}\n}}
        piece \"Back\" {{\n{back}\n}}
        piece \"Sleeve\" {{\n{}\n}}
        strip \"Ruffle\" depth=\"10\" hem=\"1\" join=\"1/2\" cloth-width=\"44\" {ruffle}
        seam \"Front/side\" \"Back/side\"
        seam \"Sleeve/side\" \"Sleeve/seam backwards\"
        }}\n",
        half("6")
            .replace("cut 1", "cut 2 mirrored=#true")
            .replace("\"centre\"", "\"seam\"")
            .replace("fold=#true", "allow=\"1/2\"")
    );
    oaktag::style::read(&text, "skirt.style.kdl")
}

/// Geometry: a hem of 13 in on half the front and 11 1/2 in on half the back is 49 in all round; its quarters lie 12 1/4 in
/// from the centres.
#[test]
fn a_ring_goes_all_the_way_round() {
    let nobody = person_of("");
    let drafted = |onto: &str, ring: &str| {
        let style =
            ruffled("13", "11 1/2", &format!("times=2 {ring} {{ onto {onto} }}")).unwrap_or_else(|e| panic!("{e}"));
        drafted_for(&style, &nobody)
    };
    let walked = |set: &PieceSet| {
        let (walked, _) = walk(set, TOLERANCE);
        walked.into_iter().find(|join| join.name == "Ruffle").expect("is sewn")
    };
    let inches = |mm: f64| mm / common::INCH;
    let half = "\"Front/hem\" \"Back/hem backwards\"";
    let whole = "\"Front/hem\" \"Back/hem backwards\" \"Back/hem\" \"Front/hem backwards\"";
    let ring = drafted(half, "ring=#true");
    let seam = walked(&ring);
    assert!((inches(seam.lengths[1]) - 49.0).abs() < 1e-6 && (inches(seam.lengths[0]) - 98.0).abs() < 1e-6);
    let at = |side: usize| seam.notches[side].iter().map(|notch| inches(notch.at)).collect::<Vec<f64>>();
    let has = |side: usize, wanted: f64| at(side).iter().any(|at| (at - wanted).abs() < 0.05);
    // The ruffle has its quarters, and the side seams 13 in from the centre front; the joins of its lengths come on top.
    assert!([12.25, 36.75].iter().all(|at| has(1, *at)), "{:?}", at(1));
    assert!([24.5, 26.0, 49.0, 72.0, 73.5].iter().all(|at| has(0, *at)), "{:?}", at(0));
    assert!(![6.125, 42.875].iter().any(|at| has(1, *at)), "an eighth: {:?}", at(1));
    // What is named all round is counted once.
    assert_eq!(ring, drafted(whole, "ring=#true"));
    // The seeded fault: a strip that is no ring lies along what is named.
    assert!((inches(walked(&drafted(half, "")).lengths[1]) - 24.5).abs() < 1e-6);
}

#[test]
fn a_ring_that_does_not_close_is_refused() {
    let refused = |onto: &str| {
        let style = ruffled("13", "11 1/2", &format!("times=2 ring=#true {{ onto {onto} }}"));
        style.err().map(|f| format!("{}; {}", f.message, f.hint.as_deref().unwrap_or_default())).unwrap_or_default()
    };
    let wrong_way = refused("\"Front/hem\" \"Back/hem\"");
    assert!(wrong_way.contains("write: onto \"Front/hem\" \"Back/hem backwards\""), "{wrong_way}");
    for alone in ["\"Front/hem\"", "\"Front/hem backwards\""] {
        assert!(refused(alone).contains("which is sewn to Back/side"), "{}", refused(alone));
    }
    let some = refused("\"Front/hem\" \"Back/hem backwards\" \"Back/hem\"");
    assert!(some.contains("\"Front/hem\" is there twice and is named once"), "{some}");
    assert_eq!(refused("\"Front/hem\" \"Back/hem backwards\""), "");
    // A sleeve's hem closes by itself: a ring for each sleeve, and it is said.
    let style = ruffled("13", "11 1/2", "ring=#true { onto \"Sleeve/hem\" }").unwrap_or_else(|e| panic!("{e}"));
    let (set, findings) = draft::draft(&style, &person_of(""), &Choices::new()).unwrap_or_else(|e| panic!("{e}"));
    let ruffle = set.joins.iter().find(|join| join.name == "Ruffle").expect("is sewn");
    assert_eq!(ruffle.sides[1].len(), 1);
    assert!(findings.iter().any(|f| f.message.contains("2 rings")), "{findings:?}");
}

/// Geometry: nothing is gathered into a seam that is longer.
#[test]
fn a_ruffle_shorter_than_its_seam_holds_back() {
    for (times, count) in [("1", 0), ("2", 0), ("0.9", 1)] {
        let onto = "{ onto \"Front/hem\" \"Back/hem backwards\" }";
        let style =
            ruffled("13", "11 1/2", &format!("times={times} ring=#true {onto}")).unwrap_or_else(|e| panic!("{e}"));
        let (_, findings) = walk(&common::bare_for(&style, &person_of("")), TOLERANCE);
        let told: Vec<_> = findings.iter().filter(|f| f.message.contains("can't be gathered")).collect();
        assert!(told.len() == count && told.iter().all(|f| f.severity == Severity::Breach), "{told:?}");
    }
}
