//! `*.pieces.json`: what other tools make or take. Version `pieces/1`.

mod file;

use super::{Dart, Edge, Fastening, Finish, Fit, InnerLine, Join, Notch, Piece, PieceSet, Pleat, Span};
use crate::diag::{Finding, Result, Snippet, nearest};
use crate::units::LONGEST;
use file::{FileJoin, FileNotch, FilePiece, FileSet, to_text};
use kurbo::{BezPath, PathEl, Point};
use std::sync::Arc;

/// The only version there is.
const VERSION: &str = "pieces/1";

/// Edges must meet within this distance, mm; a smaller gap is rounding, and is closed.
const MEET: f64 = 0.001;

/// Reads a pieces file. `file` names it in findings.
///
/// # Errors
/// The first fault found, with line and column, or piece and edge: text that is not JSON, an unknown field, a version
/// other than `pieces/1`, a path that is not one open run of lines and Béziers, edges that do not meet, a number that
/// is not finite or is absurd, a negative allowance, a mark on an edge that is not there.
pub fn read(text: &str, file: &str) -> Result<PieceSet> {
    let set: FileSet = serde_json::from_str(text).map_err(|e| {
        let line_start: usize = text.split_inclusive('\n').take(e.line().saturating_sub(1)).map(str::len).sum();
        let at = (line_start + e.column().saturating_sub(1)).min(text.len());
        let message = e.to_string();
        let message = message.split(" at line ").next().unwrap_or(&message).to_owned();
        Finding::error(format!("this pieces file can't be read: {message}"))
            .at(Snippet { file: file.into(), text: Arc::from(text), span: at..at })
            .hint("see the pieces format in README.md")
    })?;
    from_file(set).map_err(|finding| Box::new(finding.in_file(file)))
}

/// Writes pieces as a pieces file, one edge a line.
pub fn write(set: &PieceSet) -> String {
    to_text(set, |_| None)
}

/// Writes pieces with each one's cut line; `cut_lines` in the pieces' order.
pub fn write_with_cut_lines(set: &PieceSet, cut_lines: &[BezPath]) -> String {
    to_text(set, |index| cut_lines.get(index).map(path_text))
}

/// A path as SVG path data, mm, shortest decimals that read back the same.
pub fn path_text(path: &BezPath) -> String {
    path.to_svg()
}

fn from_file(set: FileSet) -> std::result::Result<PieceSet, Finding> {
    if set.oaktag != VERSION {
        return Err(Finding::error(format!("this file says \"{}\", and only \"{VERSION}\" is known", set.oaktag)));
    }
    let pieces = set
        .pieces
        .into_iter()
        .map(|piece| from_piece(piece, &set.joins))
        .collect::<std::result::Result<Vec<_>, _>>()?;
    for (index, piece) in pieces.iter().enumerate() {
        if pieces[..index].iter().any(|other| other.name == piece.name) {
            return Err(Finding::error("two pieces have this name").piece(&piece.name).hint("rename one of them"));
        }
    }
    let joins = set
        .joins
        .into_iter()
        .enumerate()
        .map(|(index, join)| from_join(join, index, &pieces))
        .collect::<std::result::Result<Vec<_>, _>>()?;
    Ok(PieceSet {
        style: set.style,
        person: set.person,
        unit: set.unit,
        taken: set.taken,
        choices: set.choices,
        toile: set.toile,
        sewing: set.sewing,
        notions: set.notions,
        pieces,
        joins,
    })
}

/// Whether an edge is sewn to another of its length, eased or not, but not gathered.
fn sewn_plain(joins: &[FileJoin], piece: &str, edge: &str) -> bool {
    let own = |span: &String| span.strip_suffix(" backwards").unwrap_or(span).split_once('/') == Some((piece, edge));
    let plain = joins.iter().filter(|join| (join.ratio - 1.0).abs() < f64::EPSILON);
    plain.flat_map(|join| join.sides.iter().flatten()).any(own)
}

/// A slash at the start is kept for what is no edge: a slip beside the piece.
fn own_name(name: &str) -> std::result::Result<(), Finding> {
    if name.starts_with('/') {
        return Err(Finding::error("this name begins with a slash").hint("give the edge or line another name"));
    }
    Ok(())
}

fn from_piece(file: FilePiece, joins: &[FileJoin]) -> std::result::Result<Piece, Finding> {
    let name = file.name;
    if name.trim().is_empty() {
        return Err(Finding::error("a piece has no name"));
    }
    let in_piece = |finding: Finding| finding.piece(&name);
    let mut edges: Vec<Edge> = Vec::with_capacity(file.edges.len());
    for edge in file.edges {
        let on_edge = |finding: Finding| finding.piece(&name).edge(&edge.name);
        own_name(&edge.name).map_err(on_edge)?;
        if edges.iter().any(|other| other.name == edge.name) {
            return Err(on_edge(Finding::error("two edges of this piece have this name")));
        }
        let path = read_path(&edge.path).map_err(on_edge)?;
        length_in_range(edge.allowance, "the allowance").map_err(on_edge)?;
        if edge.allowance < 0.0 {
            return Err(on_edge(Finding::error("the allowance is negative").hint("write 0 or more")));
        }
        if edge.fold && edge.allowance != 0.0 {
            return Err(on_edge(Finding::error("an edge on the fold has an allowance").hint("leave one of them out")));
        }
        edges.push(Edge { name: edge.name, path, allowance: edge.allowance, fold: edge.fold, corner: Finish::Mitre });
    }
    join_edges(&mut edges).map_err(in_piece)?;
    let usual = Finish::usual(&edges, |edge| sewn_plain(joins, &name, edge));
    for (edge, usual) in edges.iter_mut().zip(usual) {
        edge.corner = usual;
    }
    for corner in file.corners {
        let names: Vec<String> = edges.iter().map(|edge| edge.name.clone()).collect();
        match edges.iter_mut().find(|edge| edge.name == corner.after) {
            Some(edge) => edge.corner = corner.finish,
            None => return Err(in_piece(unknown_edge("a corner", &corner.after, &names))),
        }
    }
    let mut piece = Piece {
        name: name.clone(),
        cut: file.cut,
        edges,
        notches: Vec::new(),
        darts: Vec::new(),
        pleats: Vec::new(),
        grain: [Point::ORIGIN; 2],
        drills: Vec::new(),
        lines: Vec::new(),
        fastenings: Vec::new(),
    };
    if piece.cut.count == 0 {
        return Err(in_piece(
            Finding::error("0 copies of this piece are to be cut").hint("write a count of 1 or more"),
        ));
    }
    piece.grain = match file.grain {
        Some([tail, head]) => [read_point(tail).map_err(in_piece)?, read_point(head).map_err(in_piece)?],
        None => default_grain(&piece),
    };
    if piece.grain[0].distance(piece.grain[1]) < 1.0 {
        return Err(in_piece(Finding::error("the grainline is shorter than 1 mm")));
    }
    for notch in file.notches {
        on_an_edge(&piece, "a notch", &notch.edge, &[notch.at])?;
        if !(1..=2).contains(&notch.count) {
            return Err(in_piece(Finding::error("a notch is single or double: count 1 or 2")).edge(notch.edge));
        }
        if let Some(depth) = notch.depth {
            length_in_range(depth, "a notch's depth").map_err(in_piece)?;
            if depth <= 0.0 {
                return Err(in_piece(Finding::error("a notch's depth is over 0")).edge(notch.edge));
            }
        }
        let FileNotch { edge, at, kind, count, depth } = notch;
        piece.notches.push(Notch { edge, at, kind, count, depth });
    }
    for dart in file.darts {
        on_an_edge(&piece, "a dart", &dart.edge, &dart.mouth)?;
        let apex = read_point(dart.apex).map_err(in_piece)?;
        piece.darts.push(Dart { edge: dart.edge, mouth: dart.mouth, apex, pressed: dart.pressed });
    }
    for pleat in file.pleats {
        on_an_edge(&piece, "a pleat", &pleat.edge, &pleat.mouth)?;
        length_in_range(pleat.length, "a pleat's length").map_err(in_piece)?;
        piece.pleats.push(Pleat { edge: pleat.edge, mouth: pleat.mouth, length: pleat.length, pressed: pleat.pressed });
    }
    for drill in file.drills {
        piece.drills.push(read_point(drill).map_err(in_piece)?);
    }
    for line in file.lines {
        let on_line = |finding: Finding| in_piece(finding).edge(&line.name);
        own_name(&line.name).map_err(on_line)?;
        let path = read_path(&line.path).map_err(on_line)?;
        piece.lines.push(InnerLine { name: line.name, path });
    }
    for button in file.buttons {
        piece.fastenings.push(Fastening::Button(read_point(button).map_err(in_piece)?));
    }
    for [from, to] in file.buttonholes {
        let (from, to) = (read_point(from).map_err(in_piece)?, read_point(to).map_err(in_piece)?);
        piece.fastenings.push(Fastening::Buttonhole(from, to));
    }
    Ok(piece)
}

/// Checks that the edges form one closed outline, and closes gaps of rounding size exactly.
fn join_edges(edges: &mut [Edge]) -> std::result::Result<(), Finding> {
    let count = edges.len();
    if count < 2 {
        return Err(Finding::error("an outline needs two edges at the least"));
    }
    for index in 0..count {
        let next = (index + 1) % count;
        let end = crate::geom::path::end(&edges[index].path).unwrap_or_default();
        let start = crate::geom::path::start(&edges[next].path).unwrap_or_default();
        let gap = end.distance(start);
        if gap > MEET {
            return Err(Finding::error(format!(
                "this edge ends {gap:.3} mm from where \"{}\" starts",
                edges[next].name
            ))
            .edge(&edges[index].name)
            .hint("every edge starts where the last one ended, counter-clockwise"));
        }
        set_start(&mut edges[next].path, end);
    }
    Ok(())
}

fn set_start(path: &mut BezPath, point: Point) {
    if let Some(PathEl::MoveTo(start)) = path.elements_mut().first_mut() {
        *start = point;
    }
}

fn read_path(text: &str) -> std::result::Result<BezPath, Finding> {
    let path = BezPath::from_svg(text)
        .map_err(|e| Finding::error(format!("the path can't be read: {e}")).hint("write it as \"M0 0 L120 0\""))?;
    let mut open = BezPath::new();
    for (index, element) in path.elements().iter().enumerate() {
        match element {
            PathEl::MoveTo(p) if index == 0 => open.move_to(*p),
            PathEl::LineTo(p) => open.line_to(*p),
            PathEl::CurveTo(a, b, c) => open.curve_to(*a, *b, *c),
            PathEl::QuadTo(a, b) => {
                // Raised to a cubic (degree elevation): the one kind of curve inside the program.
                let from = open.elements().last().and_then(PathEl::end_point).unwrap_or_default();
                open.curve_to(from.lerp(*a, 2.0 / 3.0), b.lerp(*a, 2.0 / 3.0), *b);
            }
            PathEl::MoveTo(_) | PathEl::ClosePath => {
                return Err(Finding::error("the path is closed or jumps").hint("an edge is one open run"));
            }
        }
    }
    for point in open.elements().iter().flat_map(points_of) {
        read_point([point.x, point.y])?;
    }
    if crate::geom::path::length(&open) < MEET {
        return Err(Finding::error("the path has no length").hint("leave the edge out"));
    }
    Ok(open)
}

fn points_of(element: &PathEl) -> Vec<Point> {
    match *element {
        PathEl::MoveTo(p) | PathEl::LineTo(p) => vec![p],
        PathEl::QuadTo(a, b) => vec![a, b],
        PathEl::CurveTo(a, b, c) => vec![a, b, c],
        PathEl::ClosePath => Vec::new(),
    }
}

fn read_point([x, y]: [f64; 2]) -> std::result::Result<Point, Finding> {
    length_in_range(x, "a coordinate")?;
    length_in_range(y, "a coordinate")?;
    Ok(Point::new(x, y))
}

fn length_in_range(value: f64, what: &str) -> std::result::Result<(), Finding> {
    if value.is_finite() && value.abs() <= LONGEST {
        Ok(())
    } else {
        Err(Finding::error(format!("{what} is {value}, which is no length in this trade")).hint("mm, under 100,000"))
    }
}

fn unknown_edge(what: &str, wanted: &str, known: &[String]) -> Finding {
    let finding = Finding::error(format!("{what} is on edge \"{wanted}\", which the piece does not have"));
    match nearest(wanted, known.iter().map(String::as_str)) {
        Some(name) => finding.hint(format!("did you mean \"{name}\"?")),
        None => finding.hint(format!("its edges are: {}", known.join(", "))),
    }
}

fn on_an_edge(piece: &Piece, what: &str, edge: &str, distances: &[f64]) -> std::result::Result<(), Finding> {
    let Some(found) = piece.edge(edge) else {
        let names: Vec<String> = piece.edges.iter().map(|edge| edge.name.clone()).collect();
        return Err(unknown_edge(what, edge, &names).piece(&piece.name));
    };
    let long = crate::geom::path::length(&found.path);
    for at in distances {
        if !(0.0..=long + MEET).contains(at) {
            return Err(Finding::error(format!("{what} stands at {at} mm of an edge that is {long:.1} mm long"))
                .piece(&piece.name)
                .edge(edge));
        }
    }
    Ok(())
}

/// Upright through the middle of the piece, half its height.
fn default_grain(piece: &Piece) -> [Point; 2] {
    use kurbo::Shape;
    let bounds = piece.outline().bounding_box();
    let quarter = bounds.height() / 4.0;
    [Point::new(bounds.center().x, bounds.y0 + quarter), Point::new(bounds.center().x, bounds.y1 - quarter)]
}

fn from_join(file: FileJoin, index: usize, pieces: &[Piece]) -> std::result::Result<Join, Finding> {
    let name = if file.name.is_empty() { format!("seam {}", index + 1) } else { file.name };
    let mut sides = [Vec::new(), Vec::new()];
    for (side, texts) in sides.iter_mut().zip(&file.sides) {
        if texts.is_empty() {
            return Err(Finding::error(format!("one side of \"{name}\" names no edge")));
        }
        for text in texts {
            side.push(read_span(text, pieces).map_err(|e| e.in_join(&name))?);
        }
    }
    for (value, what) in [(file.ease, "the ease"), (file.ratio, "the ratio"), (file.gap, "the gap")] {
        length_in_range(value, what)?;
    }
    if file.ratio <= 0.0 || file.gap < 0.0 {
        return Err(Finding::error(format!("the ratio or the gap of \"{name}\" is out of range"))
            .hint("a ratio is over 0, a gap 0 or more"));
    }
    for at in file.ease_between.into_iter().flatten() {
        length_in_range(at, "a place that the ease is spread between")?;
    }
    let fit = Fit { ease_between: file.ease_between, gap_at_start: file.gap_at_start };
    Ok(Join { name, sides, ease: file.ease, ratio: file.ratio, gap: file.gap, fit, pointed: file.pointed })
}

impl Finding {
    fn in_join(mut self, join: &str) -> Self {
        self.message = format!("seam \"{join}\": {}", self.message);
        self
    }
}

/// Reads `Front/side` or `Front/side backwards` and checks that it is there.
///
/// # Errors
/// A finding that offers the nearest piece or edge.
pub fn read_span(text: &str, pieces: &[Piece]) -> std::result::Result<Span, Finding> {
    let (names, backwards) = match text.trim().strip_suffix(" backwards") {
        Some(names) => (names, true),
        None => (text.trim(), false),
    };
    let Some((piece_name, edge_name)) = names.split_once('/') else {
        return Err(Finding::error(format!("\"{text}\" does not name an edge")).hint("write it as \"Front/side\""));
    };
    let (piece_name, edge_name) = (piece_name.trim(), edge_name.trim());
    let Some(piece) = pieces.iter().find(|piece| piece.name == piece_name) else {
        let finding = Finding::error(format!("there is no piece \"{piece_name}\""));
        return Err(match nearest(piece_name, pieces.iter().map(|piece| piece.name.as_str())) {
            Some(name) => finding.hint(format!("did you mean \"{name}\"?")),
            None => finding.hint(format!(
                "the pieces are: {}",
                pieces.iter().map(|piece| piece.name.as_str()).collect::<Vec<_>>().join(", ")
            )),
        });
    };
    if piece.path(edge_name).is_none() {
        let names: Vec<String> = piece
            .edges
            .iter()
            .map(|edge| edge.name.clone())
            .chain(piece.lines.iter().map(|line| line.name.clone()))
            .collect();
        let finding = Finding::error(format!("there is no edge \"{edge_name}\"")).piece(piece_name);
        return Err(match nearest(edge_name, names.iter().map(String::as_str)) {
            Some(name) => finding.hint(format!("did you mean \"{name}\"?")),
            None => finding.hint(format!("its edges are: {}", names.join(", "))),
        });
    }
    Ok(Span { piece: piece_name.into(), edge: edge_name.into(), backwards })
}
