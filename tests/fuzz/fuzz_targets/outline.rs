//! Any outline gets a cut line that is one finite closed contour, or an error with a name.
#![no_main]

use kurbo::{BezPath, PathEl, Point, Shape};
use libfuzzer_sys::fuzz_target;
use oaktag::allow::{TOLERANCE, allow};
use oaktag::piece::{Cut, Edge, Finish, Piece};

const FINISHES: [Finish; 6] =
    [Finish::Mitre, Finish::Bevel, Finish::Round, Finish::Square, Finish::Step, Finish::FoldBack];

/// Bytes of one edge: kind, finish, width, and three points of two 16-bit numbers.
const RECORD: usize = 15;
/// Longer outlines are garments no more, and slow to try.
const MOST_EDGES: usize = 40;
/// Millimetres of one step of a coordinate: ±655 mm.
const STEP: f64 = 0.02;

/// A piece of records: the outline starts at the origin and every record leads on from there; the last edge is closed.
fn piece(bytes: &[u8]) -> Option<Piece> {
    let records: Vec<&[u8]> = bytes.chunks_exact(RECORD).take(MOST_EDGES).collect();
    let mut at = Point::ORIGIN;
    let mut edges = Vec::with_capacity(records.len());
    for (index, record) in records.iter().enumerate() {
        let number = |k: usize| f64::from(i16::from_le_bytes([record[k], record[k + 1]])) * STEP;
        let point = |k: usize| Point::new(number(k), number(k + 2));
        let [kind, finish, width] = [record[0], record[1], record[2]];
        let end = if index + 1 == records.len() { Point::ORIGIN } else { point(11) };
        let mut path = BezPath::new();
        path.move_to(at);
        if kind & 1 == 0 {
            path.line_to(end);
        } else {
            path.curve_to(point(3), point(7), end);
        }
        let fold = kind & 0xf0 == 0xf0;
        let allowance = if fold { 0.0 } else { f64::from(width) * 0.25 };
        let corner = FINISHES[usize::from(finish) % FINISHES.len()];
        edges.push(Edge { name: format!("e{index}"), path, allowance, fold, corner });
        at = end;
    }
    (edges.len() > 1).then(|| Piece {
        name: "Fuzzed".into(),
        cut: Cut::default(),
        edges,
        notches: Vec::new(),
        darts: Vec::new(),
        pleats: Vec::new(),
        grain: [Point::ORIGIN, Point::new(0.0, 10.0)],
        drills: Vec::new(),
        lines: Vec::new(),
        fastenings: Vec::new(),
    })
}

fuzz_target!(|bytes: &[u8]| {
    let Some(piece) = piece(bytes) else { return };
    match allow(&piece, TOLERANCE) {
        Ok((cut, _)) => {
            let elements = cut.cut_line.elements();
            let moves = elements.iter().filter(|element| matches!(element, PathEl::MoveTo(_))).count();
            assert!(cut.cut_line.is_finite() && moves == 1 && cut.cut_line.area() > 0.0, "not one contour");
            assert!(matches!(elements.last(), Some(PathEl::ClosePath)), "open");
        }
        Err(finding) => assert!(!finding.message.is_empty() && !finding.place().is_empty(), "an error says what and where"),
    }
});
