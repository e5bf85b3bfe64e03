//! A written file measured against the sheet that it was to hold. Calls nothing in `write`, `order` or `calibrate`: it
//! undoes the machine's distortion by its own reckoning and flattens by another library's.

pub mod blade;
mod drawn;
mod follow;
mod pair;
mod suspect;
mod trace;

use crate::device::{Correction, Device, Language, Tool, ToolKind};
use crate::lay::{Sheet, SheetStroke};
use crate::read::{BarePath, Drawing};
use crate::role::Role;
use crate::units::trimmed;
use drawn::{distorted, through};
use kurbo::{BezPath, PathEl, Point, Shape};
use pair::{Drawn, pair};
use serde::Serialize;
use trace::Trace;

/// What everything besides flattening and the language's grid may add up to, mm.
const ALLOWANCE: f64 = 0.005;
/// A path this near to a stroke, mm, is taken for the stroke drawn badly; one further off for another path.
const NEAR: f64 = 1.0;
/// The layer that writing and the check square share after ASTM D6673.
const ANNOTATION: &str = "annotation";

/// How a written file compares with its sheet.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Proof {
    /// Strokes of the sheet that the device's tools carry.
    pub strokes: usize,
    /// Strokes that the file does not draw.
    pub missing: usize,
    /// Paths that the sheet does not have.
    pub extra: usize,
    /// Largest distance of a path from its stroke, either way, mm; of those that were paired.
    pub largest: f64,
    /// Largest distance that passes, mm: flattening tolerance, half the grid's diagonal and 0.005.
    pub allowed: f64,
    /// The check square, where it was to be drawn and was found.
    pub square: Option<SquareMeasured>,
    /// Whether the file is what the sheet says.
    pub passed: bool,
    /// Why not, most telling first.
    pub reasons: Vec<String>,
}

/// The check square of a file.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct SquareMeasured {
    /// The side that the sheet says, mm.
    pub nominal: f64,
    /// Its sides along x and y in the file, mm.
    pub in_file: [f64; 2],
    /// Its sides as the machine will draw them, the correction undone, mm.
    pub as_drawn: [f64; 2],
}

/// Measures a drawing that was read from a file against the sheet that the file was written for. `correction` is the
/// device's own, where it has one: the file holds J⁻¹ · nominal, and J undoes it.
///
/// Every stroke whose role a tool carries is paired with one path on the layer of its role, whichever way round and
/// wherever a closed one starts, and compared along its whole length, both ways. Where a tool has a tip of its own, leaves
/// bridges or goes over each line several times, what its paths cut is simulated and followed along the strokes. Where a
/// piece is cut out, all else on it has to come before.
pub fn prove(drawing: &Drawing, sheet: &Sheet, device: &Device, correction: Option<&Correction>) -> Proof {
    let allowed = allowed(device);
    let carried = |role: Role| device.tools.iter().any(|tool| tool.roles.contains(&role));
    let wanted: Vec<(&SheetStroke, Trace)> = sheet
        .strokes
        .iter()
        .filter(|stroke| carried(stroke.role))
        .filter_map(|stroke| Some((stroke, Trace::new(&stroke.path, f64::INFINITY)?)))
        .collect();
    let drawn: Vec<Option<Drawn>> =
        drawing.paths.iter().map(|bare| Drawn::new(distorted(&bare.path, correction))).collect();
    let on_layer = |stroke: usize, path: usize| is_on(&drawing.paths[path].layer, wanted[stroke].0, sheet, device);
    let near = NEAR.max(2.0 * allowed);

    // Paths of tools whose tip, beam or passes have to be followed.
    let follows = |role: Role| device.tools.iter().find(|tool| tool.roles.contains(&role)).is_some_and(follow::needed);
    let one_by_one: Vec<usize> = (0..wanted.len()).filter(|&i| !follows(wanted[i].0.role)).collect();
    let mut free: Vec<bool> = vec![true; drawn.len()];
    let mut followed = Vec::new();
    for tool in device.tools.iter().filter(|tool| follow::needed(tool)) {
        let own: Vec<usize> = (0..drawn.len()).filter(|&path| of_tool(&drawing.paths[path].layer, tool)).collect();
        for &path in &own {
            free[path] = drawn[path].is_none();
        }
        let paths: Vec<(usize, &Drawn)> = own.into_iter().filter_map(|i| Some((i, drawn[i].as_ref()?))).collect();
        followed.push(follow::follow(tool, sheet, &strokes_of(tool, &wanted), &paths, allowed, near));
    }

    // Good pairs first, so that a stray path can't take the place of a good one; then near ones, to say how far off.
    let mut partner: Vec<Option<(usize, f64)>> = vec![None; wanted.len()];
    for limit in [allowed, near] {
        let open: Vec<(usize, &Trace)> =
            one_by_one.iter().filter(|&&i| partner[i].is_none()).map(|&i| (i, &wanted[i].1)).collect();
        let found = pair(&open, &drawn, &mut free, limit, on_layer);
        for ((stroke, _), found) in open.into_iter().zip(found) {
            partner[stroke] = found;
        }
    }

    let mut reasons = Vec::new();
    if wanted.is_empty() {
        reasons.push("the sheet has nothing that this device draws".into());
    }
    if sheet.strokes.iter().any(|stroke| carried(stroke.role) && !stroke.path.is_finite()) {
        reasons.push("a stroke of the sheet holds a number that is not finite".into());
    }
    let name = |i: usize| name(wanted[i].0, sheet);
    let mut missing: Vec<usize> = one_by_one.iter().copied().filter(|&i| partner[i].is_none()).collect();
    missing.extend(followed.iter().flat_map(|followed| &followed.missing));
    missing.sort_unstable();
    let mut extra: Vec<usize> = (0..drawn.len()).filter(|&i| free[i]).collect();
    extra.extend(followed.iter().flat_map(|followed| &followed.extra));
    extra.sort_unstable();
    let worst = (0..wanted.len())
        .filter_map(|i| Some((i, partner[i]?.1)))
        .chain(followed.iter().filter_map(|followed| followed.worst))
        .max_by(|a, b| a.1.total_cmp(&b.1).then(b.0.cmp(&a.0)));
    let largest = worst.map_or(0.0, |(_, distance)| distance);
    if let Some(&first) = missing.first() {
        let (count, of) = (missing.len(), wanted.len());
        reasons.push(format!("strokes that are not in the file: {count} of {of}, first {}", name(first)));
    }
    if let Some(&first) = extra.first() {
        reasons.push(too_many(extra.len(), &drawing.paths[first].layer, drawn[first].as_ref()));
    }
    if let Some((stroke, distance)) = worst.filter(|(_, distance)| *distance > allowed) {
        let (distance, allowed) = (trimmed(distance, 4), trimmed(allowed, 4));
        reasons.push(format!("{} strays by {distance} mm, allowed are {allowed} mm", name(stroke)));
    }
    reasons.extend(cut_otherwise(&followed, name));
    let places = (0..wanted.len()).filter_map(|i| Some((i, partner[i]?.0)));
    let places: Vec<(usize, usize)> = places.chain(followed.iter().flat_map(|followed| followed.of.clone())).collect();
    if let Some(early) = cut_out_early(&places, &wanted, sheet, device) {
        reasons.push(format!("{} is cut before all else on the piece is done", name(early)));
    }
    if missing.len() * 2 > wanted.len() || largest > allowed {
        let traces: Vec<&Trace> = one_by_one.iter().map(|&i| &wanted[i].1).collect();
        if let Some(what) = suspect::suspect(&plain(drawing, device), &traces, correction, allowed) {
            reasons.insert(0, format!("it looks as if {what}"));
        }
    }
    if drawn.iter().any(Option::is_none) {
        reasons.push("a path of the file holds a number that is not finite".into());
    }
    reasons.extend(beyond_page(drawing, allowed));

    let square = if sheet.square > 0.0 && carried(Role::Square) {
        let squares = (0..wanted.len()).filter(|&i| is_square(&wanted[i].1, sheet.square));
        let partner = squares.filter_map(|i| partner[i]).map(|(path, _)| &drawing.paths[path].path).next();
        let measured = measure(partner.or_else(|| largest_square(drawing, device)), sheet.square, correction);
        reasons.extend(off_square(measured.as_ref(), allowed));
        measured
    } else {
        None
    };
    Proof {
        strokes: wanted.len(),
        missing: missing.len(),
        extra: extra.len(),
        largest,
        allowed,
        square,
        passed: reasons.is_empty(),
        reasons,
    }
}

/// How far a device's file may stray: its flattening, half the diagonal of its grid, and our own share, mm.
fn allowed(device: &Device) -> f64 {
    let flattening = match device.language {
        Language::Svg | Language::Pdf => 0.0,
        // Curves may be splines or polylines, which a file does not say.
        _ => device.tolerance.max(0.0),
    };
    flattening + std::f64::consts::FRAC_1_SQRT_2 / device.units_per_mm + ALLOWANCE
}

/// What is cut otherwise than the profile says: the first of it, and how many more.
fn cut_otherwise(followed: &[follow::Followed], name: impl Fn(usize) -> String) -> Option<String> {
    let mut wrong = followed.iter().flat_map(|followed| &followed.wrong);
    let (stroke, how) = wrong.next()?;
    let more = match wrong.count() {
        0 => String::new(),
        count => format!(", and {count} more are wrong"),
    };
    Some(format!("{} {how}{more}", name(*stroke)))
}

/// What a tool carries, with its place in the list.
fn strokes_of<'a>(tool: &Tool, wanted: &[(&'a SheetStroke, Trace)]) -> Vec<(usize, &'a SheetStroke)> {
    let strokes = wanted.iter().map(|(stroke, _)| *stroke).enumerate();
    strokes.filter(|(_, stroke)| tool.roles.contains(&stroke.role)).collect()
}

/// Paths that are on no sheet: how many, and where the first of them lies.
fn too_many(count: usize, layer: &str, first: Option<&Drawn>) -> String {
    let place = first.map_or(String::new(), |path| format!(" at {}", place(path.bounds.center())));
    format!("paths that the sheet does not have: {count}, first on layer {layer:?}{place}")
}

/// What is drawn by tools whose paths are compared as they are.
fn plain(drawing: &Drawing, device: &Device) -> Drawing {
    let followed =
        |bare: &&BarePath| device.tools.iter().any(|tool| follow::needed(tool) && of_tool(&bare.layer, tool));
    let paths = drawing.paths.iter().filter(|bare| !followed(bare)).cloned().collect();
    Drawing { paths, ..drawing.clone() }
}

/// Whether what is drawn on a layer may be of that role: a layer named by it, or a tool that has it.
fn of_role(layer: &str, role: Role, device: &Device) -> bool {
    match layer.strip_prefix("tool ").and_then(|number| number.parse::<u32>().ok()) {
        Some(number) => device.tools.iter().any(|tool| tool.number == number && tool.roles.contains(&role)),
        None if layer == ANNOTATION => matches!(role, Role::Label | Role::Square),
        None => layer_role(layer) == Some(role),
    }
}

/// Whether a layer is that of a stroke.
fn is_on(layer: &str, stroke: &SheetStroke, sheet: &Sheet, device: &Device) -> bool {
    of_role(layer, stroke.role, device) && of_size(layer, stroke, sheet, device)
}

/// Whether a layer is that of a stroke's size, where sizes are laid over one another and the language has layers by name.
fn of_size(layer: &str, stroke: &SheetStroke, sheet: &Sheet, device: &Device) -> bool {
    if sheet.sizes.is_empty() || device.language.drives_a_machine() || device.language.is_for_exchange() {
        return true;
    }
    let person = stroke.placed.and_then(|placed| sheet.placed.get(placed)).map(|placed| &placed.person);
    let size = person.and_then(|person| sheet.sizes.iter().position(|name| name == person));
    let said = layer.rsplit_once('-').and_then(|(_, number)| number.parse::<usize>().ok());
    said == size.map(|index| index + 1)
}

/// Whether what is drawn on a layer is by that tool: its number, or one of its roles.
fn of_tool(layer: &str, tool: &Tool) -> bool {
    match layer.strip_prefix("tool ").and_then(|number| number.parse::<u32>().ok()) {
        Some(number) => tool.number == number,
        None => layer_role(layer).is_some_and(|role| tool.roles.contains(&role)),
    }
}

/// A piece that is cut out while something on it is still to be drawn or cut: the stroke of its outline. `places` are
/// strokes and paths that belong together.
fn cut_out_early(
    places: &[(usize, usize)],
    wanted: &[(&SheetStroke, Trace)],
    sheet: &Sheet,
    device: &Device,
) -> Option<usize> {
    let knife = |tool: &Tool| tool.kind == ToolKind::Knife && tool.roles.contains(&Role::Cut);
    // PDF is printed, page by page, and other programs go their own ways: nothing cuts in such a file's order.
    if device.language == Language::Pdf || device.language.is_for_exchange() || !device.tools.iter().any(knife) {
        return None;
    }
    let mut outlines: Vec<Option<(f64, usize)>> = vec![None; sheet.placed.len()];
    for (index, (stroke, _)) in wanted.iter().enumerate().filter(|(_, (stroke, _))| stroke.role == Role::Cut) {
        let area = stroke.path.area().abs();
        if let Some(best) = stroke.placed.and_then(|piece| outlines.get_mut(piece))
            && best.is_none_or(|(largest, _)| area > largest)
        {
            *best = Some((area, index));
        }
    }
    let (mut begun, mut finished) = (vec![usize::MAX; outlines.len()], vec![0; outlines.len()]);
    for &(stroke, path) in places {
        let Some(piece) = wanted[stroke].0.placed.filter(|piece| *piece < outlines.len()) else { continue };
        if outlines[piece].is_some_and(|(_, outline)| outline == stroke) {
            begun[piece] = begun[piece].min(path);
        } else {
            finished[piece] = finished[piece].max(path);
        }
    }
    (0..outlines.len()).find(|piece| begun[*piece] < finished[*piece]).and_then(|piece| Some(outlines[piece]?.1))
}

/// The role that a layer stands for: its name, or its name and a number behind a hyphen.
fn layer_role(layer: &str) -> Option<Role> {
    let name = match layer.rsplit_once('-') {
        Some((name, number)) if !number.is_empty() && number.bytes().all(|b| b.is_ascii_digit()) => name,
        _ => layer,
    };
    Role::from_name(name)
}

/// A stroke as people know it.
fn name(stroke: &SheetStroke, sheet: &Sheet) -> String {
    let piece = stroke.placed.and_then(|placed| sheet.placed.get(placed)).map(|placed| &placed.piece);
    let role = stroke.role.name();
    match (piece, stroke.edge.as_str()) {
        (None, _) => format!("{role} of the sheet itself"),
        (Some(piece), "") => format!("{role} of piece \"{piece}\""),
        (Some(piece), edge) => format!("{role} of piece \"{piece}\", edge \"{edge}\""),
    }
}

fn place(p: Point) -> String {
    format!("x {}, y {}", trimmed(p.x, 2), trimmed(p.y, 2))
}

/// A path that reaches beyond the page is clipped.
fn beyond_page(drawing: &Drawing, allowed: f64) -> Option<String> {
    let (width, height) = (drawing.width?, drawing.height?);
    let page = kurbo::Rect::new(0.0, 0.0, width, height).inflate(allowed, allowed);
    let beyond = |bare: &&BarePath| page.union(bare.path.bounding_box()) != page;
    let first = drawing.paths.iter().find(beyond)?;
    Some(format!("a path on {:?} reaches beyond the page and would be cut off", first.layer))
}

/// Whether a trace has the size of the check square.
fn is_square(trace: &Trace, side: f64) -> bool {
    (trace.bounds.width() - side).abs() < 1e-3 && (trace.bounds.height() - side).abs() < 1e-3
}

/// The largest path of four corners on the square's layer: the square itself, whatever became of it.
fn largest_square<'a>(drawing: &'a Drawing, device: &Device) -> Option<&'a BezPath> {
    drawing
        .paths
        .iter()
        .filter(|bare| of_role(&bare.layer, Role::Square, device) && corners(&bare.path).is_some())
        .map(|bare| &bare.path)
        .max_by(|a, b| a.bounding_box().area().total_cmp(&b.bounding_box().area()))
}

/// Why the check square won't do, where it won't.
fn off_square(measured: Option<&SquareMeasured>, allowed: f64) -> Option<String> {
    let Some(m) = measured else { return Some("the check square is not in the file".into()) };
    let good = m.as_drawn.iter().all(|side| (side - m.nominal).abs() <= 2.0 * allowed);
    let [x, y] = m.as_drawn.map(|side| trimmed(side, 3));
    (!good).then(|| format!("the check square comes out {x} × {y} mm, not {} mm", trimmed(m.nominal, 3)))
}

/// The corners of a closed path of four straight sides.
fn corners(path: &BezPath) -> Option<[Point; 4]> {
    let mut corners: Vec<Point> = Vec::new();
    for element in path.elements() {
        match element {
            PathEl::MoveTo(p) | PathEl::LineTo(p) => corners.push(*p),
            PathEl::ClosePath => {}
            _ => return None,
        }
    }
    corners.dedup_by(|a, b| a.distance(*b) < 1e-3);
    if corners.len() > 1 && corners[0].distance(corners[corners.len() - 1]) < 1e-3 {
        corners.pop();
    }
    // A side that runs over several spans of the feed has vertices where they meet, and next to no corner there.
    let turns = |i: usize| {
        let count = corners.len();
        let (before, behind) = (corners[i] - corners[(i + count - 1) % count], corners[(i + 1) % count] - corners[i]);
        before.cross(behind).atan2(before.dot(behind)).abs() > 0.1
    };
    let corners: Vec<Point> = (0..corners.len()).filter(|i| turns(*i)).map(|i| corners[i]).collect();
    corners.try_into().ok()
}

/// The sides of the check square along x and y, from corner to corner: the mean of each opposite pair.
fn measure(path: Option<&BezPath>, nominal: f64, correction: Option<&Correction>) -> Option<SquareMeasured> {
    let in_file = corners(path?)?;
    let sides = |c: [Point; 4]| {
        let side = |i: usize| c[(i + 1) % 4] - c[i];
        let means = [0, 1].map(|i| f64::midpoint(side(i).hypot(), side(i + 2).hypot()));
        let along_x = side(0).x.abs() >= side(0).y.abs();
        if along_x { means } else { [means[1], means[0]] }
    };
    let as_drawn = in_file.map(|p| through(p, correction));
    Some(SquareMeasured { nominal, in_file: sides(in_file), as_drawn: sides(as_drawn) })
}
