//! A proof sheet's content made by hand: a village theatre's chorus tunic. Figures are chosen, not drafted.

use kurbo::{Affine, BezPath, Point};
use oaktag::allow::CutPiece;
use oaktag::device::{Device, Language, Tool, ToolKind};
use oaktag::diag::Finding;
use oaktag::lay::{Placed, Sheet, SheetStroke};
use oaktag::mark::{MarkedPiece, Stroke};
use oaktag::order::{Job, JobStroke, Pass};
use oaktag::piece::{Cut, Dart, Edge, Finish, Notch, NotchKind, Piece, PieceSet, Pleat, Pressed};
use oaktag::report::{FileLine, HeadWay, MeasureRow, ProofSheet, head_way};
use oaktag::role::Role;
use oaktag::units::Unit;
use oaktag::walk::{WalkedJoin, WalkedSpan};

/// Owned content, to borrow a [`ProofSheet`] from.
pub struct Demo {
    pub set: PieceSet,
    pub pieces: Vec<CutPiece>,
    pub marked: Vec<MarkedPiece>,
    pub walked: Vec<WalkedJoin>,
    pub files: Vec<FileLine>,
    pub sheets: Vec<Vec<Sheet>>,
    pub findings: Vec<Finding>,
    pub measures: Vec<MeasureRow>,
    pub ways: Vec<HeadWay>,
}

impl Demo {
    /// The page of this content.
    pub fn page(&self) -> String {
        let sheets: Vec<&[Sheet]> = self.sheets.iter().map(Vec::as_slice).collect();
        oaktag::report::proof_sheet(&ProofSheet {
            set: &self.set,
            pieces: &self.pieces,
            marked: &self.marked,
            walked: &self.walked,
            files: &self.files,
            sheets: &sheets,
            ways: &self.ways,
            cloths: &[],
            findings: &self.findings,
            measures: &self.measures,
            fitting: &[],
        })
    }
}

/// A card of 300 × 200 mm: a pen draws a line of 100 mm at 100 mm/s, a knife cuts a square of 50 mm at 50 mm/s twice. Up
/// it goes at 200 mm/s, and each time down and up takes half a second.
pub fn way(file: &str, pen: &str) -> HeadWay {
    let tool = |name: &str, kind, role, speed| Tool { speed: Some(speed), ..Tool::plain(name, kind, &[role]) };
    let device = Device {
        name: file.into(),
        tools: vec![tool(pen, ToolKind::Pen, Role::Sew, 100.0), tool("knife", ToolKind::Knife, Role::Cut, 50.0)],
        travel_speed: 200.0,
        lift_seconds: 0.5,
        ..Device::plain("card knife", Language::Hpgl2)
    };
    let stroke = |role, data: &str| JobStroke {
        role,
        piece: String::new(),
        placed: None,
        edge: String::new(),
        path: path(data),
    };
    let square = stroke(Role::Cut, "M100 50L150 50L150 100L100 100Z");
    let job = Job {
        device: device.name.clone(),
        medium: "card".into(),
        title: String::new(),
        width: 300.0,
        height: 200.0,
        zero: Point::ORIGIN,
        square: 0.0,
        sizes: Vec::new(),
        passes: vec![
            Pass { tool: pen.into(), strokes: vec![stroke(Role::Sew, "M0 50L100 50")] },
            Pass { tool: "knife".into(), strokes: vec![square.clone(), square] },
        ],
    };
    head_way(file, &job, &device).expect("a machine that follows its file")
}

pub fn path(data: &str) -> BezPath {
    BezPath::from_svg(data).expect("path data")
}

fn edge(name: &str, data: &str, allowance: f64) -> Edge {
    Edge { name: name.into(), path: path(data), allowance, fold: false, corner: Finish::Mitre }
}

fn piece(name: &str, cut: Cut, edges: Vec<Edge>, grain: [(f64, f64); 2]) -> Piece {
    Piece {
        name: name.into(),
        cut,
        edges,
        notches: Vec::new(),
        darts: Vec::new(),
        pleats: Vec::new(),
        grain: grain.map(Point::from),
        drills: Vec::new(),
        lines: Vec::new(),
        fastenings: Vec::new(),
    }
}

/// A rectangle of `width` × `height` mm with `allowance` all round.
pub fn rectangle(name: &str, width: f64, height: f64, allowance: f64) -> CutPiece {
    let edges = vec![
        edge("bottom", &format!("M0 0L{width} 0"), allowance),
        edge("right", &format!("M{width} 0L{width} {height}"), allowance),
        edge("top", &format!("M{width} {height}L0 {height}"), allowance),
        edge("left", &format!("M0 {height}L0 0"), allowance),
    ];
    let cut = Cut { count: 2, mirrored: true, cloth: "main".into() };
    let cut_line =
        path(&format!("M{0} {0}L{1} {0}L{1} {2}L{0} {2}Z", -allowance, width + allowance, height + allowance));
    CutPiece { piece: piece(name, cut, edges, [(width / 2.0, height / 4.0), (width / 2.0, height * 0.75)]), cut_line }
}

fn front() -> CutPiece {
    let mut edges = vec![
        edge("hem", "M0 0L330 0", 38.1),
        edge("side", "M330 0C310 200 285 350 280 500", 15.875),
        edge("armhole", "M280 500C215 510 205 590 225 690", 9.525),
        edge("shoulder", "M225 690L85 735", 15.875),
        edge("neck", "M85 735C82 680 50 640 0 640", 6.35),
        edge("centre front", "M0 640L0 0", 0.0),
    ];
    edges[0].corner = Finish::FoldBack;
    edges[5].fold = true;
    let mut front =
        piece("Front", Cut { count: 1, mirrored: false, cloth: "main".into() }, edges, [(60.0, 150.0), (60.0, 500.0)]);
    front.notches = vec![Notch { edge: "side".into(), at: 250.0, kind: NotchKind::Slit, count: 1, depth: None }];
    front.darts = vec![Dart {
        edge: "side".into(),
        mouth: [380.0, 405.4],
        apex: Point::new(170.0, 430.0),
        pressed: Pressed::ToStart,
    }];
    front.pleats = vec![Pleat { edge: "hem".into(), mouth: [120.0, 170.8], length: 200.0, pressed: Pressed::Open }];
    CutPiece {
        piece: front,
        cut_line: path(
            "M0 -38.1L350 -38.1L346 0C326 200 301 350 296.5 509L283 509.5C223 516 215 590 234.5 688L229 706L80 753.5L78 742C75 684 46 646 0 646.35L0 -38.1Z",
        ),
    }
}

fn sleeve() -> CutPiece {
    let edges = vec![
        edge("cuff", "M0 0L240 0", 25.4),
        edge("back underarm", "M240 0L300 420", 15.875),
        edge("cap", "M300 420C240 430 230 560 150 560C70 560 60 430 0 420", 9.525),
        edge("front underarm", "M0 420L0 0", 15.875),
    ];
    CutPiece {
        piece: piece(
            "Sleeve",
            Cut { count: 2, mirrored: true, cloth: "main".into() },
            edges,
            [(150.0, 60.0), (150.0, 480.0)],
        ),
        cut_line: path(
            "M-15.9 -25.4L252 -25.4L317.5 427.5L301 429.5C250 438 240 569.5 150 569.5C60 569.5 52 438 -15.9 427.5Z",
        ),
    }
}

/// Stroke letters are another module's; three words of straight strokes stand in for a label here.
fn label(at: (f64, f64), size: f64) -> Vec<Stroke> {
    let letters = ["M0 0V7H4M0 4H3", "M6 0V7H9V4H6M7 4L10 0", "M12 0H16V7H12Z", "M18 0V7L22 0V7", "M24 7H28M26 7V0"];
    letters
        .iter()
        .flat_map(|letter| letter.split('M').skip(1).map(|part| format!("M{part}")))
        .map(|data| {
            let place = Affine::translate(at) * Affine::scale(size / 7.0);
            Stroke { role: Role::Label, edge: String::new(), path: place * path(&data) }
        })
        .collect()
}

/// The strokes that the marking stage would make, near enough to look at.
pub fn mark(cut_piece: &CutPiece, person: &str) -> MarkedPiece {
    let piece = &cut_piece.piece;
    let stroke = |role, edge: &str, path| Stroke { role, edge: edge.into(), path };
    let mut strokes = vec![stroke(Role::Cut, "", cut_piece.cut_line.clone())];
    for edge in &piece.edges {
        strokes.push(stroke(if edge.fold { Role::Fold } else { Role::Sew }, &edge.name, edge.path.clone()));
    }
    for notch in &piece.notches {
        let edge = piece.edge(&notch.edge).expect("an edge");
        let (at, along) = oaktag::geom::path::point_at(&edge.path, notch.at).expect("a point");
        let out = along.turn_90() * -edge.allowance;
        let mut mark = BezPath::new();
        mark.move_to(at + out);
        mark.line_to(at + out * 0.5);
        strokes.push(stroke(Role::Notch, &notch.edge, mark));
    }
    let [tail, head] = piece.grain;
    strokes.push(stroke(
        Role::Grain,
        "",
        path(&format!("M{} {}L{} {}l-6 -12m6 12l6 -12", tail.x, tail.y, head.x, head.y)),
    ));
    for dart in &piece.darts {
        let edge = piece.edge(&dart.edge).expect("an edge");
        for at in dart.mouth {
            let (at, _) = oaktag::geom::path::point_at(&edge.path, at).expect("a point");
            let mut leg = BezPath::new();
            leg.move_to(at);
            leg.line_to(dart.apex);
            strokes.push(stroke(Role::Dart, &dart.edge, leg));
        }
        let apex = kurbo::Circle::new(dart.apex, 1.5);
        strokes.push(stroke(Role::Drill, "", kurbo::Shape::to_path(&apex, 0.01)));
    }
    strokes.extend(label((head.x + 20.0, tail.y + 60.0), 12.0));
    MarkedPiece {
        name: piece.name.clone(),
        person: person.into(),
        cut: piece.cut.clone(),
        outline: cut_piece.cut_line.clone(),
        grain: piece.grain,
        on_fold: piece.fold().is_some(),
        strokes,
    }
}

/// A sheet with pieces at the given places, and a check square.
pub fn sheet(medium: &str, size: (f64, f64), placed: &[(&MarkedPiece, f64, f64)]) -> Sheet {
    let mut sheet = Sheet {
        sizes: Vec::new(),
        medium: medium.into(),
        width: size.0,
        height: size.1,
        placed: Vec::new(),
        strokes: vec![SheetStroke {
            role: Role::Square,
            placed: None,
            edge: String::new(),
            path: path("M15 15h100v100h-100z"),
        }],
        square: 100.0,
    };
    for (index, (piece, x, y)) in placed.iter().enumerate() {
        let transform = Affine::translate((*x, *y));
        sheet.placed.push(Placed {
            piece: piece.name.clone(),
            person: piece.person.clone(),
            transform,
            outline: transform * piece.outline.clone(),
        });
        sheet.strokes.extend(piece.strokes.iter().map(|stroke| SheetStroke {
            role: stroke.role,
            placed: Some(index),
            edge: stroke.edge.clone(),
            path: transform * stroke.path.clone(),
        }));
    }
    sheet
}

fn join(name: &str, sides: [&[(&str, f64)]; 2], planned: f64, through: [Option<f64>; 2]) -> WalkedJoin {
    let lengths = sides.map(|side| side.iter().map(|(_, length)| length).sum::<f64>());
    let difference = lengths[0] - lengths[1] - planned;
    WalkedJoin {
        name: name.into(),
        sides: sides.map(|side| {
            side.iter().map(|(span, length)| WalkedSpan { span: (*span).into(), length: *length }).collect()
        }),
        lengths,
        planned,
        difference,
        through,
        pairs: vec![[0.0, 0.0], lengths],
        notches: [Vec::new(), Vec::new()],
        allowances_agree: true,
        agrees: difference.abs() < 0.5,
    }
}

pub fn seams() -> Vec<WalkedJoin> {
    vec![
        join(
            "shoulder",
            [&[("Front/shoulder", 147.05)], &[("Back/shoulder", 147.05)]],
            0.0,
            [Some(179.6), Some(181.2)],
        ),
        join("side", [&[("Front/side", 477.4)], &[("Back/side", 476.2)]], 0.0, [Some(180.0), None]),
        join(
            "armhole",
            [&[("Sleeve/cap", 468.3)], &[("Front/armhole", 217.1), ("Back/armhole", 225.8)]],
            25.4,
            [None, None],
        ),
    ]
}

/// The tunic; `unit` is the reader's.
pub fn tunic(unit: Unit) -> Demo {
    let pieces = vec![front(), sleeve(), rectangle("Pocket", 101.6, 152.4, 12.7)];
    let marked: Vec<_> = pieces.iter().map(|piece| mark(piece, "Ida")).collect();
    let [front, sleeve, pocket] = [&marked[0], &marked[1], &marked[2]];
    let roll = sheet(
        "paper",
        (1560.0, 914.4),
        &[
            (front, 150.0, 60.0),
            (sleeve, 560.0, 60.0),
            (sleeve, 950.0, 60.0),
            (pocket, 1320.0, 60.0),
            (pocket, 1320.0, 280.0),
        ],
    );
    let cards = vec![
        sheet("card", (594.0, 841.0), &[(front, 150.0, 60.0)]),
        sheet("card", (594.0, 841.0), &[(sleeve, 140.0, 60.0), (pocket, 160.0, 660.0)]),
    ];
    let text = "style \"Chorus tunic\" {\n  ease bust=2.5\n}\n";
    let snippet = oaktag::diag::Snippet { file: "chorus-tunic.style.kdl".into(), text: text.into(), span: 25..38 };
    Demo {
        set: PieceSet {
            style: "Chorus tunic".into(),
            person: "Ida".into(),
            unit,
            taken: "3 October 2026".into(),
            choices: vec![("ease at the bust".into(), "2 1/2 in".into()), ("sleeve".into(), "long".into())],
            toile: String::new(),
            sewing: Vec::new(),
            notions: Vec::new(),
            pieces: Vec::new(),
            joins: Vec::new(),
        },
        walked: seams(),
        files: vec![
            FileLine {
                file: "ida/roll-pen.svg".into(),
                device: "roll pen".into(),
                pieces: 5,
                width: 1560.0,
                height: 914.4,
                used: "1 3/4 yd of paper".into(),
                largest: 0.004_1,
                allowed: 0.022,
                passed: true,
                estimate: None,
            },
            FileLine {
                file: "ida/card-knife.dxf".into(),
                device: "card knife".into(),
                pieces: 3,
                width: 594.0,
                height: 841.0,
                used: "2 sheets of card".into(),
                largest: 0.012,
                allowed: 0.015,
                passed: true,
                estimate: None,
            },
        ],
        sheets: vec![vec![roll], cards],
        ways: vec![way("ida/card-knife.plt", "pen")],
        findings: vec![
            Finding::note("the hem allowance of 1 1/2 in is folded back at the side seams").piece("Front").edge("hem"),
            Finding::warning("the ease at the bust is 2 1/2 in, a little close for a wool cloth")
                .at(snippet)
                .hint("choose 3 in where it is lined"),
            Finding::breach("the side seam of the front is 1.2 mm longer than that of the back")
                .piece("Front")
                .edge("side")
                .hint("lower the front's underarm point, or plan the ease in the style"),
        ],
        measures: vec![
            row("bust girth", "36 in", "2 1/2 in", "38 1/2 in"),
            row("waist girth", "28 1/2 in", "6 in", "34 1/2 in"),
            row("arm length", "22 3/4 in", "", "22 3/4 in"),
        ],
        pieces,
        marked,
    }
}

fn row(name: &str, body: &str, ease: &str, finished: &str) -> MeasureRow {
    MeasureRow { name: name.into(), body: body.into(), ease: ease.into(), finished: finished.into() }
}
