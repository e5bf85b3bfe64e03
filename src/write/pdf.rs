//! PDF 1.7 at true size, curves as they are, every role a layer that can be switched off. No print scaling is asked for
//! (ISO 32000-1, table 150), which viewers may ignore: so the check square is measured all the same.
//!
//! A sheet larger than the paper is printed over pages that overlap. Columns are letters from the left, rows are
//! counted from the bottom, where the sheet's zero lies: `B3`. Pages on which nothing would be drawn are left out, and the first page is a map.

use super::{DECIMALS, layer, line_type, line_width, size_of};
use crate::calibrate::CorrectedJob;
use crate::order::{Job, JobStroke};
use crate::role::Role;
use crate::text::{CAP, Lettering, letter};
use crate::units::{push_trimmed, trimmed};
use kurbo::{Affine, BezPath, PathEl, Point, Rect, Shape, Vec2};
use pdf_writer::{Finish, Name, Pdf, Ref, Str, TextStr};
use std::collections::BTreeSet;
use std::io::Write;

/// Paper that a sheet is printed on, page by page.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Paper {
    /// One page along x, mm.
    pub width: f64,
    /// One page along y, mm.
    pub height: f64,
    /// What the printer can't reach at the left, right, bottom and top, mm.
    pub margins: [f64; 4],
    /// How far neighbours overlap inside their margins, mm.
    pub overlap: f64,
}

/// Points in a millimetre.
const POINT: f64 = 72.0 / 25.4;
/// The longest side of a page: 14,400 points (ISO 32000-1, annex C.2).
const LONGEST: f64 = 5080.0;
/// How far the parts of a sheet that is too long for one page overlap, mm.
const JOIN: f64 = 20.0;
/// The layer of all that belongs to the pages and not to the sheet.
const FURNITURE: &str = "page";

/// One page: what of the sheet it shows.
struct Tile {
    name: String,
    /// Counted from the left and from the bottom.
    column: u32,
    row: u32,
    /// Of the sheet, mm.
    window: Rect,
    /// The strokes that reach it, by their boxes; in working order.
    strokes: Vec<u32>,
}

/// A stroke with its box.
struct Drawn<'a> {
    role: Role,
    size: usize,
    path: &'a BezPath,
    bounds: Rect,
}

/// Whether two boxes have a point in common; a line's has no width.
fn meet(a: Rect, b: Rect) -> bool {
    a.x0 <= b.x1 && a.x1 >= b.x0 && a.y0 <= b.y1 && a.y1 >= b.y0
}

/// A job as a PDF file: on one page as large as the sheet, or on pages of `paper`. A sheet longer than 5,080 mm is split
/// into parts that overlap by 20 mm.
pub fn pdf(job: &CorrectedJob, paper: Option<Paper>) -> Vec<u8> {
    let stamp = job.stamp();
    let job = job.job();
    let drawn: Vec<Drawn> = strokes(job)
        .map(|stroke| Drawn {
            role: stroke.role,
            size: size_of(job, stroke),
            path: &stroke.path,
            bounds: stroke.path.bounding_box(),
        })
        .collect();
    let extent = extent(job, &drawn);
    let whole = Paper {
        width: extent.width().min(LONGEST),
        height: extent.height().min(LONGEST),
        margins: [0.0; 4],
        overlap: JOIN,
    };
    let tiled = paper.is_some() || extent.width() > LONGEST || extent.height() > LONGEST;
    let paper = paper.unwrap_or(whole);
    let tiles = tiles(&drawn, &paper, extent);
    let crosses = if tiled { crosses(&paper) } else { Vec::new() };
    let lettered = Names::of(&tiles);
    let map_first = usize::from(tiled);
    let names: Vec<&str> = ["map"][..map_first].iter().copied().chain(tiles.iter().map(|tile| &*tile.name)).collect();
    let page = |index: usize, text: &mut Vec<u8>| match index.checked_sub(map_first) {
        None => map(text, job, &paper, extent, &tiles, &lettered),
        Some(index) => content(text, &drawn, &paper, &tiles[index], tiled.then_some((&crosses, &lettered))),
    };
    let subject = format!("{}; {}; {}", stamp.text, job.device, job.medium);
    document(&names, page, &paper, &layers(job), &job.title, &subject)
}

/// All layers: every role, the roles of sizes that are laid over one another, and what belongs to the pages.
fn layers(job: &Job) -> Vec<String> {
    let nested: BTreeSet<(Role, usize)> =
        strokes(job).map(|stroke| (stroke.role, size_of(job, stroke))).filter(|(_, size)| *size > 0).collect();
    let roles = Role::ALL.into_iter().map(|role| (role, 0)).chain(nested);
    roles.map(|(role, size)| layer(role, size).into_owned()).chain([FURNITURE.into()]).collect()
}

/// The sheet, widened where a corrected stroke reaches beyond it, and rounded up to the written grid.
fn extent(job: &Job, drawn: &[Drawn]) -> Rect {
    let all = drawn.iter().fold(Rect::new(0.0, 0.0, job.width, job.height), |all, own| all.union(own.bounds));
    let up = |value: f64| (value * 1e3).ceil() / 1e3;
    Rect::new(0.0, 0.0, up(all.x1).max(1.0), up(all.y1).max(1.0))
}

fn strokes(job: &Job) -> impl Iterator<Item = &JobStroke> {
    job.passes.iter().flat_map(|pass| &pass.strokes).filter(|stroke| !stroke.path.is_empty())
}

/// The part of a page that is drawn on.
fn window(paper: &Paper) -> Rect {
    let [left, right, bottom, top] = paper.margins;
    Rect::new(left, bottom, paper.width - right, paper.height - top)
}

/// How many windows of that length cover an extent.
fn count(extent: f64, window: f64, overlap: f64) -> u32 {
    ((extent - overlap - 1e-6) / (window - overlap)).ceil().clamp(1.0, 10_000.0) as u32
}

/// Every page on which something is drawn, row by row from the top.
fn tiles(drawn: &[Drawn], paper: &Paper, extent: Rect) -> Vec<Tile> {
    /// What lies so far outside of a page still shows on it: half the widest line, and more, mm.
    const WIDE: f64 = 0.5;
    let window = window(paper);
    let [columns, rows] = [(extent.width(), window.width()), (extent.height(), window.height())]
        .map(|(extent, window)| count(extent, window, paper.overlap));
    let [across, up] = [window.width(), window.height()].map(|side| side - paper.overlap);
    let shown = |row: u32, column: u32| {
        Rect::from_origin_size((f64::from(column) * across, f64::from(row) * up), window.size())
    };
    // The first and last that a stretch can reach; whether it does is then seen by the page itself.
    let reach = |from: f64, to: f64, long: f64, step: f64, count: u32| {
        let [first, last] = [from - long - WIDE, to + WIDE].map(|at| (at / step).max(0.0) as u32);
        first..=last.min(count - 1)
    };
    let mut met: Vec<(u32, u32, u32)> = Vec::new();
    for (index, stroke) in (0..).zip(drawn) {
        let own = stroke.bounds;
        for row in reach(own.y0, own.y1, window.height(), up, rows) {
            for column in reach(own.x0, own.x1, window.width(), across, columns) {
                if meet(own, shown(row, column).inflate(WIDE, WIDE)) {
                    met.push((rows - 1 - row, column, index));
                }
            }
        }
    }
    // Page by page; the strokes of a page stay in working order.
    met.sort_by_key(|(row, column, _)| (*row, *column));
    // Along the segments, so that a page inside a piece on which nothing lies is left out.
    let reaches = |index: u32, wide: Rect| {
        drawn[index as usize].path.segments().any(|segment| meet(segment.bounding_box(), wide))
    };
    let pages = met.chunk_by(|a, b| (a.0, a.1) == (b.0, b.1));
    pages
        .filter_map(|page| {
            let (row, column) = (rows - 1 - page[0].0, page[0].1);
            let window = shown(row, column);
            page.iter().any(|(.., index)| reaches(*index, window.inflate(WIDE, WIDE))).then(|| Tile {
                name: column_name(column) + &row_name(row),
                column,
                row,
                window,
                strokes: page.iter().map(|(.., index)| *index).collect(),
            })
        })
        .collect()
}

/// A, B, … Z, AA, AB, …
fn column_name(column: u32) -> String {
    let last = char::from(b'A' + (column % 26) as u8);
    if column < 26 { last.to_string() } else { format!("{}{last}", column_name(column / 26 - 1)) }
}

/// 1, 2, …
fn row_name(row: u32) -> String {
    (row + 1).to_string()
}

/// The names of columns and rows as strokes, in glyph units: lettered once for the names of all pages.
struct Names {
    columns: Vec<Lettering>,
    rows: Vec<Lettering>,
}

impl Names {
    fn of(tiles: &[Tile]) -> Self {
        let lettered = |most: Option<u32>, name: fn(u32) -> String| {
            (0..most.map_or(0, |most| most + 1)).map(|n| letter(&name(n), CAP)).collect()
        };
        Self {
            columns: lettered(tiles.iter().map(|tile| tile.column).max(), column_name),
            rows: lettered(tiles.iter().map(|tile| tile.row).max(), row_name),
        }
    }

    /// A page's name in capitals of that height, mm, from a place on.
    fn strokes(&self, tile: &Tile, height: f64, at: Point) -> Vec<BezPath> {
        let (column, row) = (&self.columns[tile.column as usize], &self.rows[tile.row as usize]);
        let behind = Affine::translate((column.width, 0.0));
        let place = Affine::translate(at.to_vec2()) * Affine::scale(height / CAP);
        let moved = row.paths.iter().map(|path| behind * path);
        column.paths.iter().cloned().chain(moved).map(|path| place * path).collect()
    }
}

/// What is drawn on a page: the sheet through its window, then the page's own marks.
fn content(text: &mut Vec<u8>, drawn: &[Drawn], paper: &Paper, tile: &Tile, marks: Option<(&Vec<u8>, &Names)>) {
    let window = window(paper);
    let put = |text: &mut Vec<u8>, line: std::fmt::Arguments| writeln!(text, "{line}").expect("writing to memory");
    put(text, format_args!("q {POINT} 0 0 {POINT} 0 0 cm 1 J 1 j 0.07 G"));
    let [x, y, w, h] = [window.x0, window.y0, window.width(), window.height()].map(number);
    put(text, format_args!("{x} {y} {w} {h} re W n"));
    let (dx, dy) = (number(window.x0 - tile.window.x0), number(window.y0 - tile.window.y0));
    put(text, format_args!("1 0 0 1 {dx} {dy} cm"));
    let mut open: Option<(Role, usize)> = None;
    for stroke in tile.strokes.iter().map(|index| &drawn[*index as usize]) {
        let kind = (stroke.role, stroke.size);
        if open != Some(kind) {
            if open.is_some() {
                text.extend_from_slice(b"EMC\n");
            }
            let dashes: Vec<String> = line_type(kind.0, kind.1).iter().map(|&dash| number(dash)).collect();
            put(text, format_args!("/OC /{} BDC", layer(kind.0, kind.1)));
            put(text, format_args!("{} w [{}] 0 d", number(line_width(stroke.role)), dashes.join(" ")));
            open = Some(kind);
        }
        path(text, stroke.path);
    }
    if open.is_some() {
        text.extend_from_slice(b"EMC\n");
    }
    text.extend_from_slice(b"Q\n");
    if let Some((crosses, names)) = marks {
        furniture(text, crosses, &page_name(paper, names, tile));
    }
}

/// Draws what belongs to the page itself: what is in words already, and marks.
fn furniture(text: &mut Vec<u8>, drawn: &[u8], marks: &[BezPath]) {
    writeln!(text, "q {POINT} 0 0 {POINT} 0 0 cm 1 J 1 j 0.5 G 0.15 w\n/OC /{FURNITURE} BDC")
        .expect("writing to memory");
    text.extend_from_slice(drawn);
    for mark in marks {
        path(text, mark);
    }
    text.extend_from_slice(b"EMC\nQ\n");
}

/// Crosses in the middle of the overlap at the four corners, which fall on each other when pages are glued; in words once for
/// all pages.
fn crosses(paper: &Paper) -> Vec<u8> {
    let inner = glued(paper);
    let arm = (paper.overlap / 2.0).min(3.0);
    let mut crosses = Vec::new();
    for x in [inner.x0, inner.x1] {
        for y in [inner.y0, inner.y1] {
            path(&mut crosses, &line(Point::new(x - arm, y), Point::new(x + arm, y)));
            path(&mut crosses, &line(Point::new(x, y - arm), Point::new(x, y + arm)));
        }
    }
    crosses
}

/// The page's name in its lower left corner.
fn page_name(paper: &Paper, names: &Names, tile: &Tile) -> Vec<BezPath> {
    let clear = Vec2::new(1.0, 1.0) * (paper.overlap / 2.0 + 2.0);
    names.strokes(tile, 6.0, glued(paper).origin() + clear)
}

/// What is left of a page's window from the middle of one overlap to the middle of the next.
fn glued(paper: &Paper) -> Rect {
    window(paper).inflate(-paper.overlap / 2.0, -paper.overlap / 2.0)
}

/// How pages are put together, on the map. Cut through a cross, its half lies beside the other half of the one below.
const TOGETHER: [&str; 2] = [
    "Where a page has a neighbour at its right or above, cut it there through the crosses.",
    "Lay it on that neighbour, cross on cross, and tape both. Measure the square first.",
];

/// The whole sheet made small, with every page's outline and name, and above it what it is and how to put it together.
fn map(text: &mut Vec<u8>, job: &Job, paper: &Paper, extent: Rect, tiles: &[Tile], names: &Names) {
    let room = window(paper);
    let all = tiles.iter().fold(extent, |all, tile| all.union(tile.window));
    // The title, and where there is room below it, what to do.
    let (title, told) = (14.0, 12.0);
    let tall = room.height() / 4.0 >= title + told;
    let head = if tall { title + told } else { title.min(room.height() / 4.0) };
    let scale = (room.width() / all.width()).min((room.height() - head) / all.height()) * 0.98;
    let place = Affine::translate((room.x0, room.y0)) * Affine::scale(scale);
    let mut drawn: Vec<BezPath> = strokes(job)
        .filter(|stroke| matches!(stroke.role, Role::Cut | Role::Square))
        .map(|s| place * &s.path)
        .collect();
    for tile in tiles {
        drawn.push(place * tile.window.to_path(0.1));
        let middle = place * tile.window.center();
        drawn.extend(names.strokes(tile, (scale * tile.window.height() / 6.0).min(8.0), middle));
    }
    let say = format!("{}: {} pages, print at 100 %", job.title, tiles.len());
    let mut write = |words: &str, size: f64, below: f64| {
        let words = letter(words, size);
        let fit = (room.width() / words.width.max(1.0)).min(1.0);
        let at = Affine::translate((room.x0, room.y1 - below)) * Affine::scale(fit);
        drawn.extend(words.paths.into_iter().map(|path| at * path));
    };
    write(&say, 4.0, title.min(head) / 2.0);
    if tall {
        for (line, below) in TOGETHER.into_iter().zip([title, title + told / 2.0]) {
            write(line, 3.0, below);
        }
    }
    furniture(text, &[], &drawn);
}

fn line(from: Point, to: Point) -> BezPath {
    BezPath::from_vec(vec![PathEl::MoveTo(from), PathEl::LineTo(to)])
}

/// A path and its stroke. Quadratic curves are raised, which is exact.
fn path(text: &mut Vec<u8>, path: &BezPath) {
    let mut at = Point::ORIGIN;
    for element in path.elements() {
        let (points, operator): (&[Point], u8) = match element {
            PathEl::MoveTo(p) => (&[*p], b'm'),
            PathEl::LineTo(p) => (&[*p], b'l'),
            PathEl::QuadTo(a, p) => (&[at.lerp(*a, 2.0 / 3.0), p.lerp(*a, 2.0 / 3.0), *p], b'c'),
            PathEl::CurveTo(a, b, p) => (&[*a, *b, *p], b'c'),
            PathEl::ClosePath => (&[], b'h'),
        };
        for p in points {
            for number in [p.x, p.y] {
                push_trimmed(text, number, DECIMALS);
                text.push(b' ');
            }
            at = *p;
        }
        text.push(operator);
        text.push(b'\n');
    }
    text.extend_from_slice(b"S\n");
}

fn number(value: f64) -> String {
    trimmed(value, DECIMALS)
}

/// The file around its pages, whose contents `content` puts down one by one. They are not compressed, so that a proof needs no
/// other library to look inside.
fn document(
    pages: &[&str],
    content: impl Fn(usize, &mut Vec<u8>),
    paper: &Paper,
    layers: &[String],
    title: &str,
    subject: &str,
) -> Vec<u8> {
    let [catalog, tree, info] = [1, 2, 3].map(Ref::new);
    let layer = |i: usize| Ref::new(4 + i as i32);
    let page = |i: usize| Ref::new(4 + layers.len() as i32 + 2 * i as i32);
    let stream = |i: usize| Ref::new(5 + layers.len() as i32 + 2 * i as i32);
    let mut pdf = Pdf::new();
    let mut root = pdf.catalog(catalog);
    root.pages(tree);
    root.viewer_preferences().insert(Name(b"PrintScaling")).primitive(Name(b"None"));
    if pages.starts_with(&["map"]) {
        let mut numbers = root.insert(Name(b"PageLabels")).dict();
        let mut list = numbers.insert(Name(b"Nums")).array();
        for (i, name) in pages.iter().enumerate() {
            list.item(i as i32);
            list.push().dict().pair(Name(b"P"), Str(name.as_bytes()));
        }
    }
    let mut optional = root.insert(Name(b"OCProperties")).dict();
    optional.insert(Name(b"OCGs")).array().items((0..layers.len()).map(layer));
    let mut default = optional.insert(Name(b"D")).dict();
    default.insert(Name(b"Order")).array().items((0..layers.len()).map(layer));
    default.finish();
    optional.finish();
    root.finish();
    pdf.document_info(info).title(TextStr(title)).subject(TextStr(subject));
    for (i, name) in layers.iter().enumerate() {
        pdf.indirect(layer(i)).dict().pair(Name(b"Type"), Name(b"OCG")).pair(Name(b"Name"), TextStr(name));
    }
    pdf.pages(tree).kids((0..pages.len()).map(page)).count(pages.len() as i32);
    let mut text = Vec::new();
    for i in 0..pages.len() {
        let mut own = pdf.page(page(i));
        own.parent(tree).contents(stream(i));
        own.media_box(pdf_writer::Rect::new(0.0, 0.0, (paper.width * POINT) as f32, (paper.height * POINT) as f32));
        let mut resources = own.resources();
        let mut properties = resources.insert(Name(b"Properties")).dict();
        for (i, name) in layers.iter().enumerate() {
            properties.pair(Name(name.as_bytes()), layer(i));
        }
        properties.finish();
        resources.finish();
        own.finish();
        text.clear();
        content(i, &mut text);
        pdf.stream(stream(i), &text);
    }
    pdf.finish()
}
