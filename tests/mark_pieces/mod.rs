//! Pieces to mark: made-up pieces of a village theatre's wardrobe, with cut lines that the `geo` crate offsets (an
//! implementation other than the project's own).
#![allow(dead_code)]

use geo::{BooleanOps, Buffer, Coord, LineString, Polygon};
use kurbo::{BezPath, PathEl, Point};
use oaktag::allow::CutPiece;
use oaktag::mark::Heading;
use oaktag::piece::{Cut, Dart, Edge, Finish, InnerLine, Notch, NotchKind, Piece, Pleat, Pressed};
use oaktag::units::Unit;

pub fn heading() -> Heading {
    Heading {
        style: "Chorus tunic".into(),
        person: "Ọlábísí Adéṣọlá".into(),
        taken: "3 March".into(),
        unit: Unit::Inch,
        number: 3,
        of: 9,
        net_block: false,
        ease: Vec::new(),
        toile: String::new(),
        stamp: String::new(),
        notches: oaktag::device::Notches::Drawn,
        scale: 1.0,
        font: None,
        slips: false,
    }
}

/// A piece from named edges written as SVG paths.
pub fn piece(name: &str, edges: &[(&str, &str)], width: f64, grain: [(f64, f64); 2]) -> Piece {
    let edge = |(name, path): &(&str, &str)| Edge {
        name: (*name).into(),
        path: BezPath::from_svg(path).expect("a path"),
        allowance: width,
        fold: false,
        corner: Finish::Mitre,
    };
    Piece {
        name: name.into(),
        cut: Cut { count: 2, mirrored: true, cloth: "main".into() },
        edges: edges.iter().map(edge).collect(),
        notches: Vec::new(),
        darts: Vec::new(),
        pleats: Vec::new(),
        grain: grain.map(Point::from),
        drills: Vec::new(),
        lines: Vec::new(),
        fastenings: Vec::new(),
    }
}

pub fn notch(edge: &str, at: f64, kind: NotchKind, count: u8) -> Notch {
    Notch { edge: edge.into(), at, kind, count, depth: None }
}

pub fn flat(path: &BezPath, tolerance: f64) -> Vec<Point> {
    let mut points = Vec::new();
    kurbo::flatten(path.elements().iter().copied(), tolerance, |element| match element {
        PathEl::MoveTo(p) | PathEl::LineTo(p) => points.push(p),
        _ => {}
    });
    points
}

pub fn polygon(path: &BezPath) -> Polygon {
    let ring: Vec<Coord> = flat(path, 0.005).into_iter().map(|p| Coord { x: p.x, y: p.y }).collect();
    Polygon::new(LineString(ring), vec![])
}

/// The piece with a cut line at one width all round; along a straight fold on x = 0 the unfolded piece is offset and cut
/// along the fold.
pub fn with_allowance(mut piece: Piece, width: f64) -> CutPiece {
    for edge in &mut piece.edges {
        edge.allowance = if edge.fold { 0.0 } else { width };
    }
    let net = polygon(&piece.outline());
    let grown = if width == 0.0 {
        net
    } else if piece.fold().is_some() {
        let mirrored = Polygon::new(net.exterior().0.iter().rev().map(|c| Coord { x: -c.x, y: c.y }).collect(), vec![]);
        let whole = net.union(&mirrored).buffer(width);
        let half =
            Polygon::new(LineString::from(vec![(0.0, -1e5), (1e5, -1e5), (1e5, 1e5), (0.0, 1e5), (0.0, -1e5)]), vec![]);
        whole.intersection(&half).0.remove(0)
    } else {
        net.buffer(width).0.remove(0)
    };
    let mut cut_line = BezPath::new();
    let ring = &grown.exterior().0;
    for (i, c) in ring[..ring.len() - 1].iter().enumerate() {
        if i == 0 { cut_line.move_to((c.x, c.y)) } else { cut_line.line_to((c.x, c.y)) }
    }
    cut_line.close_path();
    if kurbo::Shape::area(&cut_line) < 0.0 {
        cut_line = cut_line.reverse_subpaths();
    }
    CutPiece { piece, cut_line }
}

/// The outline itself as cut line.
pub fn net(piece: Piece) -> CutPiece {
    let mut piece = piece;
    for edge in &mut piece.edges {
        edge.allowance = 0.0;
    }
    let cut_line = piece.outline();
    CutPiece { piece, cut_line }
}

pub fn rectangle(name: &str, w: f64, h: f64, width: f64) -> Piece {
    let (bottom, right, top, left) =
        (format!("M0 0 L{w} 0"), format!("M{w} 0 L{w} {h}"), format!("M{w} {h} L0 {h}"), format!("M0 {h} L0 0"));
    let edges = [("bottom", &*bottom), ("right", &*right), ("top", &*top), ("left", &*left)];
    piece(name, &edges, width, [(w / 2.0, h * 0.25), (w / 2.0, h * 0.75)])
}

/// A pocket flap 30 mm deep, with a rounded lower edge.
pub fn flap() -> Piece {
    let mut flap = piece(
        "Pocket flap",
        &[
            ("lower", "M0 8 C0 2 5 0 12 0 L98 0 C105 0 110 2 110 8"),
            ("right", "M110 8 L110 30"),
            ("top", "M110 30 L0 30"),
            ("left", "M0 30 L0 8"),
        ],
        6.35,
        [(55.0, 4.0), (55.0, 26.0)],
    );
    flap.notches = vec![notch("top", 55.0, NotchKind::Slit, 1)];
    flap
}

/// A ruffle strip 2 m long and 60 mm wide, its grain along it.
pub fn strip() -> Piece {
    let mut strip = rectangle("Hem ruffle", 2000.0, 60.0, 9.525);
    strip.grain = [Point::new(900.0, 30.0), Point::new(1100.0, 30.0)];
    strip.notches = (1..4).map(|i| notch("top", 500.0 * f64::from(i), NotchKind::T, 1)).collect();
    strip
}

pub fn sleeve() -> Piece {
    let mut sleeve = piece(
        "Sleeve",
        &[
            ("wrist", "M70 0 L270 0"),
            ("back seam", "M270 0 C280 150 300 300 340 420"),
            ("cap", "M340 420 C290 430 270 560 180 565 C95 570 60 450 0 420"),
            ("front seam", "M0 420 C40 300 60 150 70 0"),
        ],
        12.7,
        [(170.0, 100.0), (170.0, 400.0)],
    );
    sleeve.notches = vec![
        notch("cap", 120.0, NotchKind::VIn, 2),
        notch("cap", 255.0, NotchKind::VOut, 1),
        notch("cap", 390.0, NotchKind::Slit, 1),
        notch("back seam", 210.0, NotchKind::T, 1),
        notch("front seam", 210.0, NotchKind::Drawn, 1),
    ];
    sleeve.lines =
        vec![InnerLine { name: "elbow".into(), path: BezPath::from_svg("M55 210 L283 210").expect("a path") }];
    sleeve
}

/// A bodice front on the fold, with a bust dart, a pleat at the neck and a drill hole.
pub fn bodice() -> Piece {
    let mut bodice = piece(
        "Front",
        &[
            ("waist", "M0 0 C60 0 150 5 200 10"),
            ("side", "M200 10 L245 215"),
            ("armhole", "M245 215 C195 215 180 260 185 350"),
            ("shoulder", "M185 350 L70 395"),
            ("neckline", "M70 395 C62 340 40 318 0 318"),
            ("centre front", "M0 318 L0 0"),
        ],
        12.7,
        [(60.0, 40.0), (60.0, 260.0)],
    );
    bodice.edges[5].fold = true;
    bodice.cut = Cut { count: 1, mirrored: false, cloth: "main".into() };
    bodice.notches = vec![
        notch("armhole", 90.0, NotchKind::Slit, 1),
        notch("side", 100.0, NotchKind::VIn, 1),
        notch("side", 150.0, NotchKind::VOut, 2),
    ];
    bodice.darts = vec![Dart {
        edge: "waist".into(),
        mouth: [90.0, 120.0],
        apex: Point::new(105.0, 150.0),
        pressed: Pressed::ToStart,
    }];
    bodice.pleats =
        vec![Pleat { edge: "shoulder".into(), mouth: [50.0, 70.0], length: 60.0, pressed: Pressed::ToStart }];
    bodice.drills = vec![Point::new(150.0, 200.0)];
    bodice
}
