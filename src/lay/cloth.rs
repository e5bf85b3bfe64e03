//! Pieces laid on cloth, to be cut from it.
//!
//! x runs along the cloth; y across what can be cut into: from one selvedge to the other, or from the fold to the
//! selvedges where the cloth is folded.

use super::outline::{mirrored_about, simplified};
use super::prove;
use super::search::{self, Budget, Form, Item, Laid, Place, Problem, Progress};
use crate::allow::CutPiece;
use crate::cloth::{Cloth, Way};
use crate::diag::{Finding, Result};
use crate::units::format_length;
use kurbo::{Affine, BezPath, Shape as _};
use std::collections::HashMap;

/// How far the outlines that are laid may stray from the true ones, mm; the gap is widened by as much for each.
const STRAY: f64 = 0.25;

/// More copies than this on one lay are a slip.
const MOST: usize = 5000;

/// Pieces of one person's garment.
#[derive(Clone, Copy, Debug)]
pub struct Garment<'a> {
    /// For whom.
    pub person: &'a str,
    /// With their cut lines; those of other cloths are passed over.
    pub pieces: &'a [CutPiece],
}

/// A lay on cloth.
#[derive(Clone, Debug, PartialEq)]
pub struct ClothLay {
    /// How much of the cloth's length it takes, mm.
    pub length: f64,
    /// Across what can be cut into, mm.
    pub height: f64,
    /// Of that area, the part that the pieces cover.
    pub density: f64,
    /// What lies where.
    pub placed: Vec<OnCloth>,
    /// Whole width beyond which nothing lies, from where the last piece ends to the end of what is bought: from and to along
    /// the cloth, mm; equal where nothing is left.
    pub remnant: [f64; 2],
}

/// A copy on the cloth, or a pair where the cloth is folded.
#[derive(Clone, Debug, PartialEq)]
pub struct OnCloth {
    /// The piece's name.
    pub piece: String,
    /// For whom.
    pub person: String,
    /// From the piece's coordinates to the cloth's.
    pub transform: Affine,
    /// What is cut round, unfolded where it must be, in the cloth's coordinates, counter-clockwise.
    pub outline: BezPath,
    /// Copies that are cut here: two through both layers, or one.
    pub copies: u32,
    /// Whether it lies against the fold of the cloth.
    pub on_fold: bool,
    /// By how much its grainline is off the cloth's length, degrees, whichever way up it lies.
    pub off_grain: f64,
    /// Whether its head points against the cloth.
    pub turned: bool,
}

/// A copy to lay, before it has a place.
struct Wanted<'a> {
    piece: &'a CutPiece,
    person: &'a str,
    garment: usize,
    /// Along the grain, mirrored or not; for a piece on the fold of the cloth with the fold along the lower edge.
    along: Affine,
    /// What is cut round, in the piece's coordinates.
    outline: BezPath,
    copies: u32,
    on_fold: bool,
}

/// How a form lies.
struct Lie {
    transform: Affine,
    turned: bool,
    off_grain: f64,
}

/// Lays all pieces of that cloth as short as the budget lets it, and proves the lay.
///
/// # Errors
/// No piece of that cloth; a piece that is cut 0 times, has no grain or is too wide, with what would fit.
pub fn lay_on_cloth(
    garments: &[Garment],
    cloth: &Cloth,
    budget: &Budget,
    progress: &mut dyn FnMut(Progress) -> bool,
) -> Result<(ClothLay, Vec<Finding>)> {
    crate::cloth::check(cloth)?;
    let mut findings = Vec::new();
    let wanted = wanted(garments, cloth, &mut findings)?;
    let height = cloth.usable();
    let mut forms: Vec<Form> = Vec::new();
    let mut ways: Vec<Lie> = Vec::new();
    // Where the middle of each form's box lies before it is placed.
    let mut middles: Vec<[f64; 2]> = Vec::new();
    let mut items = Vec::new();
    let mut known: HashMap<String, Vec<usize>> = HashMap::new();
    for one in &wanted {
        let turned = match cloth.way {
            Way::Either => vec![false, true],
            Way::Garment => vec![one.garment % 2 == 1],
            Way::One => vec![false],
        };
        let key = format!("{:?} {:?} {turned:?}", (one.along * &one.outline).to_svg(), one.on_fold);
        let list = if let Some(list) = known.get(&key) {
            list.clone()
        } else {
            let mut list = Vec::new();
            let offs: &[f64] = if cloth.grain > 0.0 && !one.on_fold { &[0.0, 1.0, -1.0] } else { &[0.0] };
            for off in offs.iter().map(|off| off * cloth.grain * 0.999) {
                let first = forms.len();
                for turned in &turned {
                    // On the fold it is the mirror image, which opens out the same.
                    let upright = if one.on_fold { 1.0 } else { -1.0 };
                    let half =
                        if *turned { Affine::new([-1.0, 0.0, 0.0, upright, 0.0, 0.0]) } else { Affine::IDENTITY };
                    let off_turn = if off == 0.0 { Affine::IDENTITY } else { Affine::rotate(off.to_radians()) };
                    let transform = half * off_turn * one.along;
                    let path = transform * &one.outline;
                    let bounds = path.bounding_box();
                    let (low, high) = ([bounds.x0, bounds.y0], [bounds.x1, bounds.y1]);
                    let (form, middle) = Form::boxed(&simplified(&path, STRAY), low, high);
                    // A hair off the grain it may be too wide where it is not along the grain.
                    if off != 0.0 && 2.0 * form.half[1] > height {
                        continue;
                    }
                    list.push(forms.len());
                    forms.push(form);
                    middles.push(middle);
                    ways.push(Lie { transform, turned: *turned, off_grain: off.abs() });
                }
                if forms.len() == first + 2 && !one.on_fold {
                    forms[first].twin = Some(first + 1);
                    forms[first + 1].twin = Some(first);
                }
            }
            known.insert(key, list.clone());
            list
        };
        check_width(one, &forms[list[0]], cloth, height)?;
        let across = one.on_fold.then(|| forms[list[0]].half[1]);
        items.push(Item { forms: list, across, locked: None });
    }
    for [x0, x1, low, high] in on_lay(cloth) {
        let (form, middle) = Form::new(&[[x0, low], [x1, low], [x1, high], [x0, high]]);
        let place = Place { form: forms.len(), x: middle[0], y: middle[1] };
        items.push(Item { forms: vec![forms.len()], across: None, locked: Some(place) });
        forms.push(form);
    }
    let gap = cloth.gap + 2.0 * STRAY;
    let problem = Problem::new(forms, items, height, gap, budget.threads);
    let start = search::left_bottom(&problem, budget.seed);
    let budget = Budget { enough: budget.enough.max(cloth.length), ..*budget };
    let laid = search::search(&problem, start, &budget, progress);
    let mut lay = carried_out(&wanted, &problem, &laid, &ways, &middles, cloth);
    lay.density = wanted.iter().map(|one| one.outline.area().abs()).sum::<f64>() / (lay.length * height).max(1e-9);
    prove::prove_cloth(&lay, garments, cloth)?;
    if cloth.length > 0.0 && lay.length > cloth.length {
        let unit = cloth.unit;
        let (short, has) = (format_length(lay.length - cloth.length, unit), format_length(cloth.length, unit));
        findings.push(
            Finding::breach(format!("the {has} of \"{}\" are {short} too short", cloth.name))
                .hint("give the search more time, cut a piece with a join, or use a wider cloth"),
        );
    }
    Ok((lay, findings))
}

/// Every copy, or pair of copies, that is to be cut.
fn wanted<'a>(garments: &[Garment<'a>], cloth: &Cloth, findings: &mut Vec<Finding>) -> Result<Vec<Wanted<'a>>> {
    let mut wanted = Vec::new();
    for (garment, of) in garments.iter().enumerate() {
        for piece in of.pieces.iter().filter(|piece| piece.piece.cut.cloth == cloth.cut_as) {
            let (name, cut) = (&piece.piece.name, &piece.piece.cut);
            if cut.count == 0 {
                let finding = Finding::error("the piece is to be cut 0 times").piece(name);
                return Err(Box::new(finding.hint("say how often it is cut, or take it from another cloth")));
            }
            if wanted.len() + cut.count as usize > MOST {
                let finding = Finding::error(format!("more than {MOST} copies of pieces are to be laid"));
                return Err(Box::new(finding.piece(name).hint("check how many are to be cut")));
            }
            let grain = piece.piece.grain[1] - piece.piece.grain[0];
            if !(grain.hypot() > 1e-9 && grain.is_finite()) {
                let finding = Finding::error("the piece has no grain, so nobody knows how it lies on the cloth");
                return Err(Box::new(finding.piece(name).hint("add: grain along=\"…\" with one of its edges")));
            }
            let one = |mirror: bool, copies: u32| -> Wanted<'a> {
                let turn = Affine::rotate(-grain.atan2());
                let along = if mirror { Affine::FLIP_Y * turn } else { turn };
                Wanted {
                    piece,
                    person: of.person,
                    garment,
                    along,
                    outline: piece.cut_line.clone(),
                    copies,
                    on_fold: false,
                }
            };
            if let Some(fold) = piece.piece.fold() {
                for _ in 0..cut.count {
                    wanted.push(folded(one(false, 1), fold, cloth)?);
                }
            } else if cloth.folded && cut.count > 1 && cut.mirrored {
                for _ in 0..cut.count / 2 {
                    wanted.push(one(false, 2));
                }
                if cut.count % 2 == 1 {
                    wanted.push(one(false, 1));
                }
            } else {
                if cloth.folded {
                    let text =
                        "folded cloth cuts this piece twice, mirrored, wherever it lies: half of the copies are spare";
                    findings.push(Finding::note(text).piece(name).hint("cut it through one layer only"));
                }
                for index in 0..cut.count {
                    wanted.push(one(cut.mirrored && index % 2 == 1, 1));
                }
            }
        }
    }
    if wanted.is_empty() {
        let names: Vec<&str> = garments.iter().flat_map(|of| of.pieces).map(|piece| &*piece.piece.cut.cloth).collect();
        let finding = Finding::error(format!("no piece is cut from \"{}\"", cloth.cut_as));
        return Err(Box::new(crate::source::with_known(finding, &cloth.cut_as, &names[..names.len().min(4)])));
    }
    Ok(wanted)
}

/// A piece that is half of what is cut: laid against the fold of the cloth where its own fold runs with the grain, or
/// opened out.
fn folded<'a>(mut one: Wanted<'a>, fold: &crate::piece::Edge, cloth: &Cloth) -> Result<Wanted<'a>> {
    use crate::geom::path;
    let Some((start, end)) = path::start(&fold.path).zip(path::end(&fold.path)) else {
        return Err(Box::new(Finding::error("the fold has no ends").piece(&one.piece.piece.name)));
    };
    let (from, to) = (one.along * start, one.along * end);
    let level = (to - from).y.abs() <= 0.001 * (to - from).hypot();
    if cloth.folded && level {
        // The piece lies above its fold; where it is below, the mirror image, which opens out the same.
        let middle = (one.along * &one.outline).bounding_box().center();
        if middle.y < from.y {
            one.along = Affine::FLIP_Y * one.along;
        }
        one.on_fold = true;
        return Ok(one);
    }
    one.outline = mirrored_about(&one.outline, start, end);
    Ok(one)
}

/// The flaws in the lay's coordinates, as far as they lie in what can be cut into.
pub fn on_lay(cloth: &Cloth) -> Vec<[f64; 4]> {
    let height = cloth.usable();
    let mut all = Vec::new();
    for [x0, x1, low, high] in &cloth.flaws {
        let spans = if cloth.folded {
            // Either half of the width, from the fold outwards.
            let middle = cloth.width / 2.0;
            vec![[low - middle, high - middle], [middle - high, middle - low]]
        } else {
            vec![[low - cloth.selvedge, high - cloth.selvedge]]
        };
        for [low, high] in spans {
            let (low, high) = (low.max(0.0), high.min(height));
            if high > low {
                all.push([*x0, *x1, low, high]);
            }
        }
    }
    all
}

fn check_width(one: &Wanted, form: &Form, cloth: &Cloth, height: f64) -> Result<()> {
    let (long, wide) = (2.0 * form.half[0], 2.0 * form.half[1]);
    if wide <= height - 1e-6 {
        return Ok(());
    }
    let unit = cloth.unit;
    let say = |mm: f64| format_length(mm, unit);
    let message = format!(
        "the piece is {} wide across the grain, {} more than the {} that \"{}\" leaves between its selvedges{}",
        say(wide),
        say(wide - height),
        say(height),
        cloth.name,
        if cloth.folded { " folded" } else { "" }
    );
    let mut ways = Vec::new();
    if long <= height {
        ways.push("on the cross grain it would fit".to_owned());
    }
    if cloth.folded && wide <= cloth.width - 2.0 * cloth.selvedge {
        ways.push("on the cloth laid single it would fit".to_owned());
    }
    ways.push("a join would make it narrower".to_owned());
    let layers = if cloth.folded { 2.0 } else { 1.0 };
    ways.push(format!("a cloth at least {} wide would take it", say((wide * layers + 2.0 * cloth.selvedge).ceil())));
    Err(Box::new(Finding::error(message).piece(&one.piece.piece.name).hint(ways.join("; "))))
}

fn carried_out(
    wanted: &[Wanted],
    problem: &Problem,
    laid: &Laid,
    ways: &[Lie],
    middles: &[[f64; 2]],
    cloth: &Cloth,
) -> ClothLay {
    let mut placed = Vec::new();
    let mut length: f64 = 0.0;
    for (one, place) in wanted.iter().zip(&laid.places) {
        let (way, middle) = (&ways[place.form], middles[place.form]);
        let y = if one.on_fold { problem.forms[place.form].half[1] } else { place.y };
        let transform = Affine::translate((place.x - middle[0], y - middle[1])) * way.transform;
        let outline = transform * &one.outline;
        let outline = if transform.determinant() < 0.0 { outline.reverse_subpaths() } else { outline };
        length = length.max(outline.bounding_box().x1);
        placed.push(OnCloth {
            piece: one.piece.piece.name.clone(),
            person: one.person.into(),
            transform,
            outline,
            copies: one.copies,
            on_fold: one.on_fold,
            off_grain: way.off_grain,
            turned: way.turned,
        });
    }
    let to = if cloth.length > 0.0 { cloth.length } else { crate::cloth::bought(length, cloth.unit) };
    ClothLay { length, height: problem.height, density: 0.0, placed, remnant: [length, to.max(length)] }
}
