//! The words of a style for marks: balance lines, rows of buttons and buttonholes, notch depths, notions, the toile's date.

use super::common::{bare_for, drafted_for, person_of, style_of};
use kurbo::Point;
use oaktag::geom::path;
use oaktag::measures;
use oaktag::piece::{Fastening, PieceSet, json};

/// A front 10 in wide and 20 in long with a row of each along its left edge, which runs down.
fn front(marks: &str) -> PieceSet {
    let style = style_of(&format!(
        r#"needs "bust girth"
           piece "Front" {{
               point "top"
               point "foot" from="top" down="20"
               point "side foot" from="foot" across="10"
               point "side top" from="top" across="10"
               point "bust" from="top" across="4" down="6"
               edge "front edge" from="top" to="foot" allow="1/2"
               edge "hem" from="foot" to="side foot" allow="1/2"
               edge "side" from="side foot" to="side top" allow="1/2"
               edge "shoulder" from="side top" to="top" allow="1/2"
               {marks}
           }}
           notion "hook and eye" 1
           sewing {{ step "Sew the side." }}"#
    ));
    drafted_for(&style, &person_of("\"bust girth\" \"36\""))
}

fn fastenings(marks: &str) -> Vec<Fastening> {
    front(marks).pieces[0].fastenings.clone()
}

#[test]
fn buttons_and_buttonholes_are_evenly_spaced() {
    // 5 from 1 in below the top to 3 in above the foot of a 20 in edge: 4 in apart, an inch in (arithmetic).
    let row = fastenings(r#"buttons 5 on="front edge" from="top" first="1" last="3" inward="1""#);
    assert_eq!(row.len(), 5);
    for (i, button) in (0_u32..).zip(&row) {
        let wanted = Point::new(25.4, -25.4 * (1.0 + 4.0 * f64::from(i)));
        assert!(matches!(button, Fastening::Button(at) if at.distance(wanted) < 1e-6), "{button:?} {wanted:?}");
    }
    // From the other end the same row is turned round.
    let turned = fastenings(r#"buttons 5 on="front edge" from="foot" first="3" last="1" inward="1""#);
    assert!(matches!((turned[0], row[4]), (Fastening::Button(a), Fastening::Button(b)) if a.distance(b) < 1e-6));
    // A buttonhole across the edge starts 1/8 in beyond its button (common practice, no source).
    let holes = fastenings(r#"buttonholes 2 on="front edge" from="top" first="2" inward="1" long="3/4""#);
    let wanted = [Point::new(25.4 * 0.875, -50.8), Point::new(25.4 * 1.625, -50.8)];
    assert!(
        matches!(holes[0], Fastening::Buttonhole(a, b) if a.distance(wanted[0]) < 1e-6 && b.distance(wanted[1]) < 1e-6),
        "{holes:?}"
    );
    let along =
        fastenings(r#"buttonholes 1 on="front edge" from="top" first="2" inward="1" long="1" lengthwise=#true"#);
    assert!(
        matches!(along[0], Fastening::Buttonhole(a, b) if (a.x - b.x).abs() < 1e-9 && (a.distance(b) - 25.4).abs() < 1e-9)
    );
    // The seeded fault: four spaces, not five, would be 3.2 in.
    assert!(!matches!(row[1], Fastening::Button(at) if (at.y + 25.4 * 4.2).abs() < 0.1));
}

#[test]
fn balance_lines_run_from_edge_to_edge_at_their_level() {
    let set = front(r#"balance "bust line" at="bust"; balance "princess" at="bust" upright=#true"#);
    let line = |name: &str| {
        let path = set.pieces[0].path(name).expect("is drawn");
        (path::start(path).expect("a start"), path::end(path).expect("an end"))
    };
    let (a, b) = line("bust line");
    assert!(a.distance(Point::new(0.0, -152.4)) < 1e-6 && b.distance(Point::new(254.0, -152.4)) < 1e-6, "{a:?} {b:?}");
    let (a, b) = line("princess");
    assert!((a.x - 101.6).abs() < 1e-6 && (a.distance(b) - 508.0).abs() < 1e-6, "{a:?} {b:?}");
}

#[test]
fn marks_go_through_a_pieces_file_and_the_rest_is_told() {
    let set = front(
        r#"buttons 2 on="front edge" first="2" inward="1"; buttonholes 1 on="front edge" first="9" inward="1" long="1"
           notch on="side" part=0.5 depth="3/8""#,
    );
    let read = json::read(&json::write(&set), "front.pieces.json").expect("reads");
    assert_eq!(read.pieces[0].fastenings.len(), 3);
    assert!(read.pieces[0].notches[0].depth.is_some_and(|depth| (depth - 9.525).abs() < 1e-9));
    assert_eq!(read.notions, ["buttons: 2", "hook and eye: 1"]);
    assert_eq!(read.sewing, ["Sew the side."]);
    let person = |toile: &str| {
        let text = format!(
            "measures \"Ida\" {{\nunit \"in\"\n{toile}\ntaken \"2026-01-01\" {{\n\"bust girth\" \"36\"\n}}\n}}\n"
        );
        measures::read(&text, "ida.measures.kdl")
    };
    let passed = person("toile \"Test\" passed=\"2026-02-03\"").expect("reads").0;
    let style = style_of(
        "piece \"Pocket\" {\npoint \"a\"\npoint \"b\" from=\"a\" across=\"5\"\npoint \"c\" from=\"b\" up=\"5\"\n\
         edge \"x\" from=\"a\" to=\"b\"\nedge \"y\" from=\"b\" to=\"c\"\nedge \"z\" from=\"c\" to=\"a\"\n}",
    );
    assert_eq!(bare_for(&style, &passed).toile, "2026-02-03");
    let wrong = person("toile \"Test\" passed=\"yesterday\"").expect_err("is refused");
    assert!(wrong.message.contains("no date"), "{wrong}");
}
