//! A first lay on paper or card made closer by the search: shorter on a roll, on fewer sheets, on fewer pages.

use super::copy::Copy;
use super::outline::{polygon, simplified};
use super::pack::{Bin, Packed, inside};
use super::pages::{PageGrid, settle};
use super::search::{self, Budget, Form, Item, Laid, Place, Problem, Progress};
use crate::device::{Medium, MediumKind};
use geo::{BooleanOps, ConvexHull, Polygon};
use kurbo::{BezPath, Rect, Shape as _};

/// How far the outlines that are laid may stray from the true ones, mm; the gap is widened by as much for each.
const STRAY: f64 = 0.25;

/// A wall between two sheets that are laid as one strip, mm.
const WALL: f64 = 1.0;

/// Sheets fuller than this are not tried for.
const FULL: f64 = 0.9;

/// Trials from which a lay that is too large to be searched in one is searched in sections.
const LONG: u64 = 1_000_000;

/// All copies as forms: which forms each copy may take, in the order of its turns.
struct Forms {
    all: Vec<Form>,
    of: Vec<Vec<usize>>,
}

/// Makes a first lay closer. What comes out keeps the gap and lies inside the margins as the first did.
pub(super) fn closer(
    mut packed: Packed,
    copies: &[Copy],
    medium: &Medium,
    budget: &Budget,
    progress: &mut dyn FnMut(Progress) -> bool,
) -> Packed {
    let forms = forms(&packed, copies);
    let roll = matches!(medium.kind, MediumKind::Roll { .. });
    while packed.bins.len() > 1 && search::in_one(forms.all.len(), budget) {
        let Some(fewer) = fewer(&packed, &forms, medium, budget) else { break };
        packed.bins = fewer;
    }
    if roll && packed.bins.len() == 1 {
        if medium.pages.is_some() {
            if search::in_one(forms.all.len(), budget) {
                on_pages(&mut packed.bins[0], &forms, medium, budget, progress);
            }
        } else if search::in_one(forms.all.len(), budget) || budget.seconds.is_some() || budget.evaluations >= LONG {
            shorter(&mut packed.bins[0], &forms, medium, budget, progress);
        }
    }
    packed
}

fn forms(packed: &Packed, copies: &[Copy]) -> Forms {
    let mut forms = Forms { all: Vec::new(), of: Vec::new() };
    let mut known: Vec<(&str, &str, bool)> = Vec::new();
    for (item, copy) in packed.items.iter().zip(copies) {
        let key = (&*copy.piece.person, &*copy.piece.name, copy.along_grain.determinant() < 0.0);
        if let Some(at) = known.iter().position(|other| *other == key) {
            forms.of.push(forms.of[at].clone());
            known.push(("", "", false));
            continue;
        }
        known.push(key);
        let first = forms.all.len();
        let turns = item.turned.len();
        for (turn, (transform, shape)) in item.turned.iter().enumerate() {
            let outline = *transform * &copy.piece.outline;
            let lines: Vec<BezPath> = item.out.iter().map(|index| *transform * &copy.strokes[*index].path).collect();
            let Rect { x0, y0, x1, y1 } = shape.bounds;
            let (mut form, _) = Form::boxed(&around(&outline, &lines), [x0, y0], [x1, y1]);
            // Half a turn is half the list away.
            form.twin = Some(first + (turn + turns / 2) % turns);
            forms.all.push(form);
        }
        forms.of.push((first..forms.all.len()).collect());
    }
    forms
}

/// The corners of what is cut round together with the lines that reach out of it.
fn around(outline: &BezPath, lines: &[BezPath]) -> Vec<[f64; 2]> {
    let corners = simplified(outline, STRAY);
    if lines.is_empty() {
        return corners;
    }
    let ring = |points: &[[f64; 2]]| Polygon::new(points.iter().map(|p| (p[0], p[1])).collect(), vec![]);
    let whole = lines.iter().fold(geo::MultiPolygon(vec![ring(&corners)]), |whole, line| {
        whole.union(&polygon(&line.bounding_box().inset(STRAY).to_path(0.1), STRAY))
    });
    let hull = whole.convex_hull();
    let one = if let [one] = &*whole.0 { one } else { &hull };
    let mut points: Vec<[f64; 2]> = one.exterior().coords().map(|c| [c.x, c.y]).collect();
    points.pop();
    if geo::Area::signed_area(one) < 0.0 {
        points.reverse();
    }
    points
}

/// A rectangle as a form.
fn rectangle(width: f64, height: f64) -> Form {
    Form::new(&[[0.0, 0.0], [width, 0.0], [width, height], [0.0, height]]).0
}

/// A bin's copies and then its check square, as items in their places.
fn as_items(bin: &Bin, forms: &Forms) -> (Vec<Form>, Vec<Item>, Vec<Place>) {
    let mut all = forms.all.clone();
    let (mut items, mut places) = (Vec::new(), Vec::new());
    for (index, turn, at) in &bin.placed {
        let form = forms.of[*index][*turn];
        items.push(Item { forms: forms.of[*index].clone(), across: None, locked: None });
        places.push(middle(&all, form, *at));
    }
    let square = all.len();
    all.push(rectangle(bin.block.width, bin.block.height));
    items.push(Item { forms: vec![square], across: None, locked: None });
    places.push(middle(&all, square, bin.corner));
    (all, items, places)
}

fn middle(forms: &[Form], form: usize, corner: [f64; 2]) -> Place {
    let [x, y] = forms[form].half;
    Place { form, x: corner[0] + x, y: corner[1] + y }
}

fn corner(forms: &[Form], place: Place) -> [f64; 2] {
    let [x, y] = forms[place.form].half;
    [place.x - x, place.y - y]
}

/// Takes a lay over into a bin.
fn put(bin: &mut Bin, forms: &Forms, all: &[Form], laid: &[Place]) {
    let Some((square, places)) = laid.split_last() else { return };
    bin.corner = corner(all, *square);
    bin.used = bin.corner[0] + bin.block.width;
    for ((index, turn, at), place) in bin.placed.iter_mut().zip(places) {
        *turn = forms.of[*index].iter().position(|form| *form == place.form).unwrap_or(*turn);
        *at = corner(all, *place);
        bin.used = bin.used.max(at[0] + 2.0 * all[place.form].half[0]);
    }
}

fn shorter(bin: &mut Bin, forms: &Forms, medium: &Medium, budget: &Budget, progress: &mut dyn FnMut(Progress) -> bool) {
    let (_, height) = inside(medium);
    let (all, items, places) = as_items(bin, forms);
    let first = Laid { length: bin.used, places };
    let laid = search::lay(&all, &items, height, medium.gap + 2.0 * STRAY, Some(&first), budget, progress);
    if laid.length < bin.used {
        put(bin, forms, &all, &laid.places);
    }
}

/// On as many pages across as take the fewest pages, pieces kept off the joins of pages where that costs none.
fn on_pages(
    bin: &mut Bin,
    forms: &Forms,
    medium: &Medium,
    budget: &Budget,
    progress: &mut dyn FnMut(Progress) -> bool,
) {
    let Some(grid) = PageGrid::of(medium) else { return };
    let (width, height) = inside(medium);
    let (all, items, places) = as_items(bin, forms);
    let mut problem = Problem::new(all, items, height, medium.gap + 2.0 * STRAY, budget.threads);
    let tallest = problem.items.iter().map(|item| 2.0 * problem.forms[item.forms[0]].half[1]).fold(0.0, f64::max);
    let mut best: Option<([usize; 2], Vec<Place>)> = None;
    let mut consider = |problem: &Problem, laid: Laid| {
        if laid.length <= width {
            let places = settle(problem, laid, &grid, budget.seed);
            let cost = grid.cost(problem, &places);
            if best.as_ref().is_none_or(|(other, _)| cost < *other) {
                best = Some((cost, places));
            }
        }
    };
    consider(&problem, Laid { length: bin.used, places });
    for rows in 1..=grid.rows {
        problem.height = grid.height(rows).min(height);
        if problem.height < tallest {
            continue;
        }
        let start = search::left_bottom(&problem, budget.seed);
        let laid = search::search(&problem, start, budget, progress);
        consider(&problem, laid);
    }
    if let Some((_, places)) = best {
        put(bin, forms, &problem.forms, &places);
    }
}

/// All copies on one sheet less, if the search finds it: the sheets as one strip with walls between them.
fn fewer(packed: &Packed, forms: &Forms, medium: &Medium, budget: &Budget) -> Option<Vec<Bin>> {
    let (width, height) = inside(medium);
    let gap = medium.gap + 2.0 * STRAY;
    let count = packed.bins.len() - 1;
    let area: f64 = packed.items.iter().enumerate().map(|(index, _)| forms.all[forms.of[index][0]].area()).sum();
    let square = &packed.bins[0].block;
    if area + count as f64 * square.width * square.height > FULL * count as f64 * width * height {
        return None;
    }
    let pitch = width + 2.0 * gap + WALL;
    let (mut all, mut items, mut places) = (forms.all.clone(), Vec::new(), Vec::new());
    let locked = |place: Place| Item { forms: vec![place.form], across: None, locked: Some(place) };
    let mut copies = Vec::new();
    for (sheet, bin) in packed.bins.iter().enumerate() {
        for (index, turn, at) in &bin.placed {
            // What lay on the last sheet is strewn over the others.
            let on = if sheet < count { sheet } else { copies.len() % count };
            let at = [at[0] + on as f64 * pitch, at[1]];
            copies.push(*index);
            places.push(middle(&all, forms.of[*index][*turn], at));
            let fits = |form: &usize| 2.0 * all[*form].half[0] <= width && 2.0 * all[*form].half[1] <= height;
            let fitting: Vec<usize> = forms.of[*index].iter().copied().filter(fits).collect();
            // One that fits to a hair counts as fitting for the first lay and not here.
            if fitting.is_empty() {
                return None;
            }
            items.push(Item { forms: fitting, across: None, locked: None });
        }
    }
    let (square_form, wall) = (all.len(), all.len() + 1);
    all.push(rectangle(square.width, square.height));
    all.push(rectangle(WALL, height));
    for sheet in 0..count {
        let x = sheet as f64 * pitch;
        items.push(locked(middle(&all, square_form, [x, 0.0])));
        if sheet + 1 < count {
            items.push(locked(middle(&all, wall, [x + width + gap, 0.0])));
        }
    }
    places.extend(items[copies.len()..].iter().filter_map(|item| item.locked));
    let start = Laid { length: (count - 1) as f64 * pitch + width, places };
    let problem = Problem::new(all, items, height, gap, budget.threads);
    let longer = Budget { evaluations: budget.evaluations.saturating_mul(4), ..*budget };
    let laid = search::clear(&problem, &start, &longer)?;
    let mut bins: Vec<Bin> = (0..count).map(|_| packed.bins[0].emptied()).collect();
    for (index, place) in copies.into_iter().zip(laid.places) {
        let on = ((place.x / pitch) as usize).min(count - 1);
        let turn = forms.of[index].iter().position(|form| *form == place.form)?;
        let [x, y] = corner(&problem.forms, place);
        let at = [x - on as f64 * pitch, y];
        bins[on].used = bins[on].used.max(at[0] + 2.0 * problem.forms[place.form].half[0]);
        bins[on].placed.push((index, turn, at));
    }
    Some(bins)
}
