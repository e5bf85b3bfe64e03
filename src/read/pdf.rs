//! PDF files as this project writes them, read into bare paths: contents that are not compressed, lines and curves on
//! layers. Anything else is refused, since a proof that overlooks something is none.

mod content;
mod objects;

use super::{BarePath, Drawing, Gathered, MOST_BYTES, check_size};
use crate::diag::{Finding, Result};
use crate::units::LONGEST;
use kurbo::{Affine, ParamCurve, Point, Rect, Shape};
use objects::{Object, Objects};

/// Millimetres in a point.
const POINT: f64 = 25.4 / 72.0;
/// Parts of a sheet that is too long for one page overlap by this, mm.
const JOIN: f64 = 20.0;
/// More pages are refused: 100 m of paper as wide as a door are 1,500.
const MOST_PAGES: usize = 5_000;
/// More lines that begin at one place than this are refused.
const MOST_IN_ONE_PLACE: usize = 500;
/// The layer of what belongs to the pages.
const FURNITURE: &str = "page";

/// How pages that are glued together lie.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Glue {
    /// What is not printed at the left, right, bottom and top of a page, mm.
    pub margins: [f64; 4],
    /// How far neighbours overlap inside their margins, mm.
    pub overlap: f64,
}

/// One page.
struct Page {
    label: String,
    width: f64,
    height: f64,
    /// What may be seen, mm.
    clip: Rect,
    paths: Vec<BarePath>,
}

/// What a PDF file draws, in millimetres, y up, origin at the lower left. Several pages are put together again by their
/// labels, as `glue` says they lie, or else as parts of one long sheet; a path on several of them is there once, and only
/// if it is on every page that it runs through. The pages' own marks and the map are left out.
///
/// # Errors
/// What this project does not write: compressed or encrypted contents, pictures, fonts; pages that do not fit together.
pub fn pdf(bytes: &[u8], file: &str, glue: Option<Glue>) -> Result<(Drawing, Vec<Finding>)> {
    check_size(bytes, file)?;
    let refused = |message: &str| super::refused(file, message, "only PDF files of this program's own are read");
    let objects = Objects::parse(bytes).map_err(|what| refused(&what))?;
    let pages = pages(&objects, file).map_err(|what| refused(&what))?;
    if let ([page], None) = (&pages[..], glue) {
        let mut gathered = Gathered::new(file);
        for bare in &page.paths {
            gathered.add(&bare.layer, &bare.path)?;
        }
        return Ok((Drawing { width: Some(page.width), height: Some(page.height), paths: gathered.paths }, Vec::new()));
    }
    let mut gathered = Gathered::new(file);
    let whole =
        together(&pages, glue.unwrap_or(Glue { margins: [0.0; 4], overlap: JOIN })).map_err(|what| refused(&what))?;
    for bare in &whole {
        gathered.add(&bare.layer, &bare.path)?;
    }
    Ok((Drawing { width: None, height: None, paths: gathered.paths }, Vec::new()))
}

/// Every page, in order.
fn pages(objects: &Objects, file: &str) -> std::result::Result<Vec<Page>, String> {
    let root = objects.root()?;
    let hidden = objects.hidden(root);
    let tree = objects.get(root, "Pages").ok_or("the file has no pages")?;
    let Some(Object::Array(kids)) = objects.get(tree, "Kids") else { return Err("the file has no pages".into()) };
    let labels = labels(objects, root);
    let mut pages = Vec::new();
    let mut gathered = Gathered::new(file);
    let mut carried_out = 0;
    for (index, kid) in kids.iter().enumerate() {
        let page = objects.resolve(kid);
        for key in ["Rotate", "UserUnit", "CropBox"] {
            if objects.get(page, key).is_some() {
                return Err(format!("a page has a {key}"));
            }
        }
        let Some(Object::Array(sides)) = objects.get(page, "MediaBox") else { return Err("a page has no size".into()) };
        let sides: Vec<f64> = sides.iter().filter_map(Object::number).collect();
        let [0.0, 0.0, width, height] = sides[..] else { return Err("a page's corner is not at 0".into()) };
        if ![width, height].iter().all(|side| *side > 0.0 && side * POINT <= LONGEST) {
            return Err("a page has no size, or is over 100 m".into());
        }
        let sheet = Rect::new(0.0, 0.0, width * POINT, height * POINT);
        let drawn = content::paths(objects, page, &hidden)?;
        // Pages may share what they draw: a small file could be long in the reading.
        carried_out += drawn.bytes;
        if carried_out > 2 * MOST_BYTES || index >= MOST_PAGES {
            return Err("the file has more pages than a sheet could be cut into".into());
        }
        let clip = drawn.clip.map_or(sheet, |clip| clip.intersect(sheet));
        // The bounds on paths and segments hold for all pages together.
        for bare in &drawn.paths {
            gathered.add(&bare.layer, &bare.path).map_err(|finding| finding.message)?;
        }
        let label = labels.get(index).cloned().unwrap_or_default();
        pages.push(Page { label, width: sheet.x1, height: sheet.y1, clip, paths: drawn.paths });
    }
    if pages.is_empty() { Err("the file has no pages".into()) } else { Ok(pages) }
}

/// The prefixes of the page labels, one a page.
fn labels(objects: &Objects, root: &Object) -> Vec<String> {
    let numbers = objects.get(root, "PageLabels").and_then(|labels| objects.get(labels, "Nums"));
    let Some(Object::Array(numbers)) = numbers else { return Vec::new() };
    let text = |label: &Object| match objects.get(label, "P") {
        Some(Object::Text(text)) => String::from_utf8_lossy(text).into_owned(),
        _ => String::new(),
    };
    numbers.chunks_exact(2).map(|pair| text(objects.resolve(&pair[1]))).collect()
}

/// Column and row of a label such as `B3`, from 0.
fn place(label: &str) -> Option<(u32, u32)> {
    let digits = label.find(|c: char| c.is_ascii_digit())?;
    let (letters, row) = label.split_at(digits);
    let column = letters.bytes().try_fold(0_u32, |sum, letter| {
        letter.is_ascii_uppercase().then(|| sum.saturating_mul(26).saturating_add(u32::from(letter - b'A') + 1))
    })?;
    Some((column.checked_sub(1)?.min(100_000), row.parse::<u32>().ok()?.checked_sub(1)?.min(100_000)))
}

/// A stroke as it lies on the sheet, its box, and the pages that show it.
type Seen = (BarePath, Rect, Vec<(u32, u32)>);

/// Pages put together: columns are letters from the left, rows are counted from the bottom.
fn together(pages: &[Page], glue: Glue) -> std::result::Result<Vec<BarePath>, String> {
    let [left, right, bottom, top] = glue.margins;
    let named: Vec<(&Page, (u32, u32))> = pages
        .iter()
        .filter(|page| page.label != "map")
        .map(|page| place(&page.label).map(|place| (page, place)).ok_or(format!("a page is named {:?}", page.label)))
        .collect::<std::result::Result<_, String>>()?;
    let mut whole: Vec<Seen> = Vec::new();
    let mut cells: std::collections::HashMap<(i64, i64), Vec<usize>> = std::collections::HashMap::new();
    let mut windows = std::collections::BTreeMap::new();
    for (page, (column, row)) in &named {
        let window = Rect::new(left, bottom, page.width - right, page.height - top);
        let off = |a: f64, b: f64| (a - b).abs() > 0.01;
        let seen = page.clip;
        if off(seen.x0, window.x0) || off(seen.y0, window.y0) || off(seen.x1, window.x1) || off(seen.y1, window.y1) {
            return Err(format!("page {} shows another part of the paper than its margins leave", page.label));
        }
        let (along, up) = (window.width() - glue.overlap, window.height() - glue.overlap);
        let corner = Point::new(f64::from(*column) * along, f64::from(*row) * up);
        let shift = corner - window.origin();
        if windows.insert((*column, *row), window + shift).is_some() {
            return Err(format!("two pages are named {}", page.label));
        }
        for bare in page.paths.iter().filter(|bare| !is_furniture(bare, window, glue.overlap)) {
            let path = Affine::translate(shift) * &bare.path;
            let bounds = path.bounding_box();
            let key = ((bounds.x0 / 0.01).round() as i64, (bounds.y0 / 0.01).round() as i64);
            let near = (-1..=1).flat_map(|dx| (-1..=1).map(move |dy| (dx, dy)));
            let same = near.filter_map(|(dx, dy)| cells.get(&(key.0 + dx, key.1 + dy))).flatten().copied().find(|&i| {
                let (other, _, on) = &whole[i];
                !on.contains(&(*column, *row)) && other.layer == bare.layer && same(&other.path, &path)
            });
            if let Some(i) = same {
                whole[i].2.push((*column, *row));
            } else {
                let here = cells.entry(key).or_default();
                here.push(whole.len());
                if here.len() > MOST_IN_ONE_PLACE {
                    return Err(format!("more than {MOST_IN_ONE_PLACE} lines begin at one place"));
                }
                whole.push((BarePath { layer: bare.layer.clone(), path }, bounds, vec![(*column, *row)]));
            }
        }
    }
    if named.is_empty() {
        return Err("there are no pages but the map".into());
    }
    // A path is all there only where every place that it runs through is shown on a page that has it: what runs over a
    // page that was left out, or lies left of the first column or below the first row, is not.
    let complete = |path: &kurbo::BezPath, bounds: Rect, on: &[(u32, u32)]| {
        let shown = |p: Point| on.iter().any(|place| windows[place].inflate(1e-3, 1e-3).contains(p));
        let along = |segment: kurbo::PathSeg| (0..=32).all(|i| shown(segment.eval(f64::from(i) / 32.0)));
        bounds.x0 >= -1e-3 && bounds.y0 >= -1e-3 && path.segments().all(along)
    };
    Ok(whole
        .into_iter()
        .filter(|(bare, bounds, on)| complete(&bare.path, *bounds, on))
        .map(|(bare, ..)| bare)
        .collect())
}

/// Whether a path is one of a page's own marks: a cross where pages are glued, or a letter of the page's name beside the
/// lower left one. Whatever else is on that layer is drawn, and a proof must see it.
fn is_furniture(bare: &BarePath, window: Rect, overlap: f64) -> bool {
    /// How far a cross reaches, mm.
    const ARM: f64 = 3.01;
    /// The room that a page's name may take, mm.
    const NAME: kurbo::Size = kurbo::Size::new(60.0, 12.0);
    let bounds = bare.path.bounding_box();
    let inside = |room: Rect| room.union(bounds) == room;
    let inner = window.inset(-overlap / 2.0);
    let corners = [(inner.x0, inner.y0), (inner.x1, inner.y0), (inner.x0, inner.y1), (inner.x1, inner.y1)];
    let name = Rect::from_origin_size((window.x0 + overlap, window.y0 + overlap), NAME);
    bare.layer == FURNITURE
        && (inside(name)
            || corners.iter().any(|&corner| inside(Rect::from_center_size(corner, (2.0 * ARM, 2.0 * ARM)))))
}

/// Whether two paths have the same elements, to the grid that they are written on.
fn same(a: &kurbo::BezPath, b: &kurbo::BezPath) -> bool {
    let (a, b): (Vec<_>, Vec<_>) = (a.segments().collect(), b.segments().collect());
    a.len() == b.len()
        && a.iter().zip(&b).all(|(a, b)| {
            let (a, b) = (a.to_cubic(), b.to_cubic());
            [(a.p0, b.p0), (a.p1, b.p1), (a.p2, b.p2), (a.p3, b.p3)].iter().all(|(p, q)| p.distance(*q) < 0.001)
        })
}
