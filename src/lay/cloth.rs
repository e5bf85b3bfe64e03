//! Pieces laid on cloth, to be cut from it.
//!
//! x runs along the cloth; y across what can be cut into: from one selvedge to the other, or from the fold to the
//! selvedges where the cloth is folded.

use super::keep::Kept;
use super::outline::{mirrored_about, simplified};
use super::search::{self, Budget, Form, Item, Laid, Place, Progress};
use super::stripes::{Tie, Tied, lattices};
use super::{prove, remnant};
use crate::allow::CutPiece;
use crate::cloth::{Cloth, Way};
use crate::diag::{Finding, Result};
use crate::units::format_length;
use kurbo::{Affine, BezPath, Rect, Shape as _};
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
    /// Notches at which the cloth's pattern runs on; see [`super::stripes::ties`].
    pub ties: &'a [Tie],
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
    /// The largest rectangle of what is bought that nothing lies on, in the lay's coordinates; empty where there is none.
    pub largest: Rect,
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
    /// How it came there.
    pub origin: Origin,
}

/// How a piece came to its place.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Origin {
    /// It was laid.
    Laid,
    /// It was kept where another lay had it.
    Kept,
    /// It is of that other lay only, and not among the pieces of this one.
    Other,
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
    mirrored: bool,
    /// Which of the kept pieces it is.
    kept: Option<usize>,
}

/// Of more copies none is laid off the grain: three times the forms take nine times as long to prepare.
const OFF_GRAIN: usize = 24;

/// How a form lies.
struct Lie {
    transform: Affine,
    turned: bool,
    off_grain: f64,
}

/// Lays all pieces of that cloth as short as the budget lets it, and proves the lay. Pieces in `kept` stay where they are:
/// those that are asked for here count, others are worked around.
///
/// # Errors
/// No piece of that cloth; a piece that is cut 0 times, has no grain or is too wide, with what would fit; kept pieces that
/// are in each other's way; a pattern that can't be matched.
pub fn lay_on_cloth(
    garments: &[Garment],
    cloth: &Cloth,
    kept: &[Kept],
    budget: &Budget,
    progress: &mut dyn FnMut(Progress) -> bool,
) -> Result<(ClothLay, Vec<Finding>)> {
    crate::cloth::check(cloth)?;
    let mut findings = Vec::new();
    let mut wanted = wanted(garments, cloth, &mut findings)?;
    let others = recognise(&mut wanted, kept);
    let height = cloth.usable();
    let mut strip = Strip::default();
    let lying: Vec<OnCloth> = (0..kept.len())
        .map(|index| {
            let one = wanted.iter().find(|one| one.kept == Some(index));
            on_cloth(one, &kept[index], others.contains(&index))
        })
        .collect();
    prove::prove_kept(&lying, garments, cloth)?;
    let turned = ways_up(garments, &lying, cloth);
    let lattices = lattices_of(&wanted, garments, &turned, cloth)?;
    let offs: &[f64] = if cloth.grain > 0.0 && wanted.len() <= OFF_GRAIN { &[0.0, 1.0, -1.0] } else { &[0.0] };
    for (one, lattice) in wanted.iter().zip(lattices) {
        if let Some(index) = one.kept {
            strip.lock(&lying[index].outline);
            continue;
        }
        let forms = strip.forms(one, &turned[one.garment], offs, cloth, lattice);
        check_width(one, &strip.forms[forms[0]], cloth, height)?;
        let across = one.on_fold.then(|| strip.forms[forms[0]].half[1]);
        strip.items.push(Item { forms, across, locked: None });
    }
    for index in &others {
        strip.lock(&lying[*index].outline);
    }
    for [x0, x1, low, high] in on_lay(cloth) {
        strip.lock(&Rect::new(x0, low, x1, high).to_path(0.1));
    }
    let end = lying.iter().map(|one| one.outline.bounding_box().x1).fold(0.0, f64::max);
    let budget = Budget { enough: budget.enough.max(end), ..*budget };
    let gap = cloth.gap + 2.0 * STRAY;
    let laid = search::lay(&strip.forms, &strip.items, height, gap, None, &budget, progress);
    let mut lay = carried_out(&wanted, &strip, &laid, &lying, cloth);
    lay.placed.extend(others.iter().map(|index| lying[*index].clone()));
    let covered: f64 = lay.placed.iter().map(|placed| placed.outline.area()).sum();
    lay.length = lay.length.max(end);
    lay.density = covered / (lay.length * height).max(1e-9);
    let bought = if cloth.length > 0.0 { cloth.length } else { crate::cloth::bought(lay.length, cloth.unit) };
    lay.remnant = [lay.length, bought.max(lay.length)];
    lay.largest = remnant::largest(&lay.placed, &on_lay(cloth), lay.remnant[1], height);
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

/// The forms and items of a lay, and what each form is.
#[derive(Default)]
struct Strip {
    forms: Vec<Form>,
    items: Vec<Item>,
    ways: Vec<Lie>,
    /// Where the middle of each form's box lies before it is placed.
    middles: Vec<[f64; 2]>,
    known: HashMap<String, Vec<usize>>,
}

impl Strip {
    /// The forms that a copy may take.
    fn forms(
        &mut self,
        one: &Wanted,
        turned: &[bool],
        offs: &[f64],
        cloth: &Cloth,
        lattice: [[f64; 2]; 2],
    ) -> Vec<usize> {
        let key = format!("{:?} {:?} {turned:?} {lattice:?}", (one.along * &one.outline).to_svg(), one.on_fold);
        if let Some(list) = self.known.get(&key) {
            return list.clone();
        }
        let tied = lattice.iter().any(|[_, period]| *period > 0.0);
        let mut list = Vec::new();
        let offs = if one.on_fold || tied { &[0.0][..] } else { offs };
        for off in offs.iter().map(|off| off * cloth.grain * 0.999) {
            let first = self.forms.len();
            for turned in turned {
                let transform = lie(one, *turned, off);
                let path = transform * &one.outline;
                let bounds = path.bounding_box();
                let (low, high) = ([bounds.x0, bounds.y0], [bounds.x1, bounds.y1]);
                let (mut form, middle) = Form::boxed(&simplified(&path, STRAY), low, high);
                // A hair off the grain it may be too wide where it is not along the grain.
                if off != 0.0 && 2.0 * form.half[1] > cloth.usable() {
                    continue;
                }
                form.lattice = lattice;
                list.push(self.forms.len());
                self.forms.push(form);
                self.middles.push(middle);
                self.ways.push(Lie { transform, turned: *turned, off_grain: off.abs() });
            }
            if self.forms.len() == first + 2 && !one.on_fold {
                self.forms[first].twin = Some(first + 1);
                self.forms[first + 1].twin = Some(first);
            }
        }
        self.known.insert(key, list.clone());
        list
    }

    /// Something that stays where it is.
    fn lock(&mut self, outline: &BezPath) {
        let bounds = outline.bounding_box();
        let (form, middle) = Form::boxed(&simplified(outline, STRAY), [bounds.x0, bounds.y0], [bounds.x1, bounds.y1]);
        let place = Place { form: self.forms.len(), x: middle[0], y: middle[1] };
        self.items.push(Item { forms: vec![self.forms.len()], across: None, locked: Some(place) });
        self.forms.push(form);
        self.middles.push(middle);
        self.ways.push(Lie { transform: Affine::IDENTITY, turned: false, off_grain: 0.0 });
    }
}

/// How a copy lies, so many degrees off the grain, before it is moved to its place.
fn lie(one: &Wanted, turned: bool, off: f64) -> Affine {
    // On the fold it is the mirror image, which opens out the same.
    let upright = if one.on_fold { 1.0 } else { -1.0 };
    let half = if turned { Affine::new([-1.0, 0.0, 0.0, upright, 0.0, 0.0]) } else { Affine::IDENTITY };
    let off_turn = if off == 0.0 { Affine::IDENTITY } else { Affine::rotate(off.to_radians()) };
    half * off_turn * one.along
}

/// Which way up each garment's pieces may lie. A kept piece decides for its garment.
fn ways_up(garments: &[Garment], lying: &[OnCloth], cloth: &Cloth) -> Vec<Vec<bool>> {
    let of = |(index, garment): (usize, &Garment)| {
        let kept =
            lying.iter().find(|one| one.origin == Origin::Kept && one.person == garment.person).map(|one| one.turned);
        match cloth.way {
            Way::One => vec![false],
            // Pieces that are matched lie the same way up, as stripes may have an up and a down.
            Way::Either if garment.ties.is_empty() => vec![false, true],
            Way::Either => vec![kept.unwrap_or(false)],
            Way::Garment => vec![kept.unwrap_or(index % 2 == 1)],
        }
    };
    garments.iter().enumerate().map(of).collect()
}

/// Where each copy may lie so that the cloth's pattern is matched.
fn lattices_of(
    wanted: &[Wanted],
    garments: &[Garment],
    turned: &[Vec<bool>],
    cloth: &Cloth,
) -> Result<Vec<[[f64; 2]; 2]>> {
    let ties: Vec<&[Tie]> = garments.iter().map(|garment| garment.ties).collect();
    if ties.iter().all(|ties| ties.is_empty()) {
        return Ok(vec![[[0.0; 2]; 2]; wanted.len()]);
    }
    let apart = |tie: &&Tie| tie.axes[1] && tie.flip && tie.reflected == [None, None];
    if let Some(tie) = ties.iter().flat_map(|ties| ties.iter()).find(apart).filter(|_| cloth.folded) {
        let message = format!(
            "on folded cloth the seam \"{}\" can't be matched across: its sides lie in different layers",
            tie.seam
        );
        return Err(Box::new(Finding::error(message).hint("lay the cloth single: folded #false")));
    }
    if let Some(one) = wanted.iter().find(|one| one.kept.is_some() && !ties[one.garment].is_empty()) {
        let message = "the pieces of a garment whose pattern is matched can't be kept from another lay";
        return Err(Box::new(Finding::error(message).piece(&one.piece.piece.name).hint("unlock them")));
    }
    let copies: Vec<Tied> = wanted
        .iter()
        .map(|one| {
            let turned = turned[one.garment][0];
            let bounds = (lie(one, turned, 0.0) * &one.outline).bounding_box();
            let half = [bounds.width() / 2.0, bounds.height() / 2.0];
            Tied {
                garment: one.garment,
                piece: &one.piece.piece,
                mirrored: one.mirrored,
                half,
                middle: [bounds.center().x, bounds.center().y],
                turned,
                across: one.on_fold.then_some(half[1]),
            }
        })
        .collect();
    lattices(&copies, &ties, cloth, cloth.usable())
}

/// Finds the copies that are kept; what is left over are pieces of other lays.
fn recognise(wanted: &mut [Wanted], kept: &[Kept]) -> Vec<usize> {
    let mut others = Vec::new();
    for (index, place) in kept.iter().enumerate() {
        let mirrored = place.transform.determinant() < 0.0;
        let is = |one: &&mut Wanted| {
            let same_hand = one.mirrored == mirrored || one.copies == 2 || one.piece.piece.fold().is_some();
            one.kept.is_none()
                && one.person == place.person
                && one.piece.piece.name == place.piece
                && one.on_fold == place.on_fold
                && one.copies == place.copies
                && same_hand
        };
        match wanted.iter_mut().find(is) {
            Some(one) => one.kept = Some(index),
            None => others.push(index),
        }
    }
    others
}

/// A kept piece in its place: with its outline of now where it is one of this lay's.
fn on_cloth(one: Option<&Wanted>, kept: &Kept, other: bool) -> OnCloth {
    let outline = one.map_or_else(|| kept.outline.clone(), |one| kept.transform * &one.outline);
    let outline = if outline.area() < 0.0 { outline.reverse_subpaths() } else { outline };
    let grain = one.map_or(kurbo::Vec2::new(1.0, 0.0), |one| {
        let [tail, head] = one.piece.piece.grain;
        kept.transform * head - kept.transform * tail
    });
    OnCloth {
        piece: kept.piece.clone(),
        person: kept.person.clone(),
        transform: kept.transform,
        outline,
        copies: kept.copies,
        on_fold: kept.on_fold,
        off_grain: grain.y.abs().atan2(grain.x.abs()).to_degrees(),
        turned: grain.x < 0.0,
        origin: if other { Origin::Other } else { Origin::Kept },
    }
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
                    mirrored: mirror,
                    kept: None,
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

fn carried_out(wanted: &[Wanted], strip: &Strip, laid: &Laid, lying: &[OnCloth], cloth: &Cloth) -> ClothLay {
    let mut placed = Vec::new();
    let mut length: f64 = 0.0;
    for (one, place) in wanted.iter().zip(&laid.places) {
        if let Some(index) = one.kept {
            placed.push(lying[index].clone());
            continue;
        }
        let (way, middle) = (&strip.ways[place.form], strip.middles[place.form]);
        let y = if one.on_fold { strip.forms[place.form].half[1] } else { place.y };
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
            origin: Origin::Laid,
        });
    }
    ClothLay { length, height: cloth.usable(), density: 0.0, placed, remnant: [length; 2], largest: Rect::ZERO }
}
