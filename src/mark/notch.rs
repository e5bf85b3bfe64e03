//! Notches carried from the sew line to the cut line.

use super::ground::Ground;
use super::lines::lines;
use super::{Heading, Stroke};
use crate::allow::CutPiece;
use crate::device::Notches;
use crate::diag::{Finding, Result};
use crate::geom::path;
use crate::piece::{Edge, Notch, NotchKind};
use crate::role::Role;
use crate::units::{INCH, Unit, format_inches, format_length};
use kurbo::{BezPath, Line, ParamCurve, ParamCurveArclen, PathSeg, Point, Vec2};

/// Deepest and shallowest usual notch, and the distance of a double notch's two marks (common practice, no source).
const DEEPEST: f64 = INCH / 4.0;
const SHALLOWEST: f64 = INCH / 8.0;
const DOUBLE: f64 = INCH / 4.0;

/// No cut comes nearer to the sew line than this: an eighth of an inch (common practice, no source), a little over the
/// 3 mm that metric practice asks.
const STANDOFF: f64 = INCH / 8.0;

/// A cut shorter than this can't be seen; the notch is drawn in its place.
const TOO_SHORT: f64 = 1.0;

/// An allowance drawn this much narrower than it was asked for is no reason to warn of a short notch, mm.
const SLACK: f64 = 0.05;

/// Half the width of a V against its depth.
const BASE: f64 = 3.0 / 8.0;

/// Below this width an edge counts as cut on the sew line, mm.
pub(super) const NO_WIDTH: f64 = 0.05;

/// Length of the tick where a notch meets the sew line, to each side, mm.
const TICK: f64 = 2.0;

/// A notch this near to the mouth of a dart or pleat marks it already, mm.
const SAME: f64 = 1.0;

/// The notches of a piece.
pub(super) struct Notched {
    /// Cuts, ticks and drawn notches.
    pub strokes: Vec<Stroke>,
    /// The cut line with the notches that are part of it.
    pub cut_line: BezPath,
    /// Those that reach into the piece.
    pub inward: Vec<BezPath>,
    /// Where each notch stands on the cut line; of one that is part of it, its tip.
    pub points: Vec<Point>,
}

/// Where a notch stands: a point of the sew line, and the way out to the cut line.
struct Place<'a> {
    edge: &'a Edge,
    sew: Point,
    out: Vec2,
}

/// A notch that is part of the cut line: it takes its place between two distances along it.
struct Spliced {
    from: f64,
    to: f64,
    tip: Point,
    base: [Point; 2],
    inward: bool,
}

/// What has been made so far.
struct Made<'a> {
    strokes: Vec<Stroke>,
    spliced: Vec<Spliced>,
    points: Vec<Point>,
    findings: &'a mut Vec<Finding>,
}

/// Makes every notch of the piece.
pub(super) fn notches(cut: &CutPiece, heading: &Heading, block: bool, findings: &mut Vec<Finding>) -> Result<Notched> {
    let mut made = Made { strokes: Vec::new(), spliced: Vec::new(), points: Vec::new(), findings };
    let sewing = Sewing { cut, heading, block, ground: Ground::new(&cut.piece.outline()) };
    for notch in &cut.piece.notches {
        sewing.notch(notch, &mut made)?;
    }
    sewing.mouths(&mut made)?;
    let Made { strokes, spliced: spliced_in, points, findings } = made;
    // Both marks of a double notch have the same to say.
    findings.dedup_by(|a, b| a.message == b.message && a.edge == b.edge);
    let inside = |v: &&Spliced| v.inward;
    let inward = spliced_in.iter().filter(inside).map(|v| polyline(&[v.base[0], v.tip, v.base[1]])).collect();
    Ok(Notched { strokes, cut_line: spliced(&cut.cut_line, spliced_in), inward, points })
}

struct Sewing<'a> {
    cut: &'a CutPiece,
    heading: &'a Heading,
    /// Whether it is a master block, notched inward from its sew line.
    block: bool,
    ground: Ground,
}

impl Sewing<'_> {
    fn notch(&self, notch: &Notch, made: &mut Made<'_>) -> Result<()> {
        let piece = &self.cut.piece.name;
        let edge = self.cut.piece.edge(&notch.edge).ok_or_else(|| {
            Finding::error("a notch names an edge that the piece doesn't have").piece(piece).edge(&notch.edge)
        })?;
        let long = path::length(&edge.path);
        if !(-0.01..=long + 0.01).contains(&notch.at) {
            let (at, long) = (format_length(notch.at, self.heading.unit), format_length(long, self.heading.unit));
            return Err(Box::new(
                Finding::error(format!("a notch is to lie at {at}, but the edge is only {long} long"))
                    .piece(piece)
                    .edge(&edge.name)
                    .hint("give the distance along the edge from its start"),
            ));
        }
        let mut count = notch.count.max(1);
        if f64::from(count - 1) * DOUBLE > long {
            count = 1;
            made.findings.push(
                Finding::warning("the edge is too short for a double notch; a single one was made")
                    .piece(piece)
                    .edge(&edge.name),
            );
        }
        // The group stays about its middle, and within its edge.
        let half = f64::from(count - 1) * DOUBLE / 2.0;
        let middle = notch.at.clamp(half, long - half);
        for i in 0..count {
            let at = middle - half + f64::from(i) * DOUBLE;
            let (sew, along) = path::point_at(&edge.path, at)
                .ok_or_else(|| Finding::error("the edge has no length").piece(piece).edge(&edge.name))?;
            let place = Place { edge, sew, out: Vec2::new(along.y, -along.x) };
            self.mark(&place, (notch.kind, notch.depth), made)?;
        }
        Ok(())
    }

    /// A notch where each leg of a dart and each fold of a pleat starts, in line with it, unless one stands there already.
    fn mouths(&self, made: &mut Made<'_>) -> Result<()> {
        let piece = &self.cut.piece;
        let plain = if self.block { NotchKind::VIn } else { NotchKind::Slit };
        let kind = piece.notches.iter().map(|notch| notch.kind).find(|kind| *kind != NotchKind::T).unwrap_or(plain);
        let darts = piece.darts.iter().map(|dart| (&dart.edge, dart.mouth, Some(dart.apex)));
        let pleats = piece.pleats.iter().map(|pleat| (&pleat.edge, pleat.mouth, None));
        for (name, mouth, apex) in darts.chain(pleats) {
            let Some(edge) = piece.edge(name) else { continue };
            for at in mouth {
                let known = |notch: &&Notch| notch.edge == *name && (notch.at - at).abs() < SAME;
                if piece.notches.iter().any(|notch| known(&notch)) {
                    continue;
                }
                let Some((sew, along)) = path::point_at(&edge.path, at) else { continue };
                let square = Vec2::new(along.y, -along.x);
                // Two legs that are led on through the allowance meet when the dart is sewn.
                let led_on = apex.map(|apex| (sew - apex).normalize()).filter(|out| out.dot(square) > 0.5);
                let place = Place { edge, sew, out: led_on.unwrap_or(square) };
                self.mark(&place, (kind, None), made)?;
            }
        }
        Ok(())
    }

    /// One mark of a notch.
    fn mark(&self, place: &Place<'_>, (kind, asked): (NotchKind, Option<f64>), made: &mut Made<'_>) -> Result<()> {
        let piece = &self.cut.piece.name;
        let Place { edge, sew, out } = *place;
        let long = path::length(&self.cut.cut_line);
        let foot = foot(&self.cut.cut_line, sew, out).ok_or_else(|| {
            Finding::error("the cut line doesn't run outside this edge, so its notch has no place")
                .piece(piece)
                .edge(&edge.name)
        })?;
        let stroke = |role, points: &[Point]| Stroke { role, edge: edge.name.clone(), path: polyline(points) };
        let warn =
            |message: String, hint: &str| Finding::warning(message).piece(piece).edge(&edge.name).hint(hint.to_owned());
        if foot.width >= NO_WIDTH {
            let reach = TICK.min(foot.width / 3.0);
            let inner = TICK.min(self.depth_inside(sew, -out) / 4.0);
            made.strokes.push(stroke(Role::Line, &[sew - out * inner, sew + out * reach]));
        }
        if kind == NotchKind::VOut {
            let depth = asked.unwrap_or(DEEPEST);
            if let Some(v) = self.outward(&foot, out, depth).filter(|v| clear_of_others(v, &made.spliced, long)) {
                made.points.push(v.tip);
                made.spliced.push(v);
                return Ok(());
            }
            made.findings.push(warn(
                "there is no room for a notch outward here; it is cut inward".into(),
                "move the notch away from the corner",
            ));
        }
        made.points.push(foot.at);
        let on_the_line = foot.width < NO_WIDTH;
        let depth = if on_the_line {
            asked.unwrap_or(DEEPEST).min(self.depth_inside(sew, -out) / 4.0)
        } else {
            let wanted = asked.unwrap_or((foot.width / 2.0).clamp(SHALLOWEST, DEEPEST));
            self.clear_of_sewing(foot.at, -out, wanted)
        };
        let tip = foot.at - out * depth;
        if kind == NotchKind::Drawn {
            made.strokes.push(stroke(Role::Line, &[foot.at, if on_the_line { tip } else { sew }]));
            return Ok(());
        }
        if on_the_line && !self.block {
            made.findings.push(warn(
                "the edge has no allowance, so its notch is drawn and not cut".into(),
                "give the edge an allowance, or make the notch \"drawn\" or \"v-out\"",
            ));
            made.strokes.push(stroke(Role::Line, &[foot.at, tip]));
            return Ok(());
        }
        if depth < TOO_SHORT {
            made.findings.push(warn(
                format!(
                    "the allowance of {} leaves no room for a notch, which is drawn and not cut",
                    self.say(foot.width)
                ),
                "make the allowance at least 1/4 in (6.4 mm), or the notch \"drawn\" or \"v-out\"",
            ));
            made.strokes.push(stroke(Role::Line, &[foot.at, if on_the_line { tip } else { sew }]));
            return Ok(());
        }
        if let Some(asked) = asked.filter(|asked| depth < asked - SLACK) {
            made.findings.push(warn(
                format!(
                    "a notch {} deep was asked for; it is {} deep, to stay {}",
                    self.say(asked),
                    self.say(depth),
                    if on_the_line { "within the piece" } else { "1/8 in (3 mm) clear of the sew line" }
                ),
                "ask for less, or make the allowance wider",
            ));
        } else if !on_the_line && depth < SHALLOWEST - SLACK {
            made.findings.push(warn(
                format!(
                    "the notch is only {} deep, to stay clear of the sew line in an allowance of {}",
                    self.say(depth),
                    self.say(foot.width)
                ),
                "make the allowance at least 1/4 in (6.4 mm), or the notch \"drawn\" or \"v-out\"",
            ));
        }
        if kind == NotchKind::VIn && self.heading.notches == Notches::Cut {
            let v = self.inward(&foot, tip, depth, on_the_line);
            if let Some(v) = v.filter(|v| clear_of_others(v, &made.spliced, long)) {
                made.spliced.push(v);
                return Ok(());
            }
        }
        if !self.shape(&foot, tip, (kind, depth, on_the_line), edge, &mut made.strokes) {
            made.findings.push(warn(
                "there is no room for this notch's shape here; it is a plain slit".into(),
                "move the notch away from the corner",
            ));
        }
        Ok(())
    }

    fn say(&self, mm: f64) -> String {
        if self.heading.unit == Unit::Inch { format_inches(mm, 32) } else { format_length(mm, Unit::Millimetre) }
    }

    /// How far the piece reaches inward from a point of the sew line.
    fn depth_inside(&self, sew: Point, inward: Vec2) -> f64 {
        let chords = self.ground.chords(sew + inward * 0.01, inward);
        chords.into_iter().map(|(_, end)| end).find(|end| *end > 0.0).unwrap_or(0.0)
    }

    /// The depth up to `wanted` at which a cut inward from the cut line stays clear of the whole sew line.
    fn clear_of_sewing(&self, foot: Point, inward: Vec2, wanted: f64) -> f64 {
        let clear = |depth: f64| self.ground.distance(foot + inward * depth) >= STANDOFF;
        if clear(wanted) {
            return wanted;
        }
        let (mut good, mut bad) = (0.0, wanted);
        for _ in 0..40 {
            let depth = f64::midpoint(good, bad);
            if clear(depth) { good = depth } else { bad = depth }
        }
        good
    }

    /// The two points on the cut line between which a V of that depth opens, where the cut line is smooth enough there.
    fn base(&self, foot: &Foot, depth: f64) -> Option<(Point, Point)> {
        let half = depth * BASE;
        let long = path::length(&self.cut.cut_line);
        let point =
            |distance: f64| path::point_at(&self.cut.cut_line, distance.rem_euclid(long)).map(|(point, _)| point);
        let (a, b) = (point(foot.along - half)?, point(foot.along + half)?);
        let level =
            |p: Point| (p - foot.at).hypot() > 0.9 * half && (b - a).normalize().cross(p - foot.at).abs() < 0.35 * half;
        (level(a) && level(b) && (b - a).hypot() > 1.6 * half).then_some((a, b))
    }

    /// Adds a notch's cuts; a plain slit, and `false`, where there is no room for its shape.
    fn shape(
        &self,
        foot: &Foot,
        tip: Point,
        (kind, depth, on_the_line): (NotchKind, f64, bool),
        edge: &Edge,
        strokes: &mut Vec<Stroke>,
    ) -> bool {
        let slit = [foot.at, tip];
        let made = match kind {
            NotchKind::VIn => self.base(foot, depth).map(|(a, b)| vec![vec![a, tip, b]]),
            NotchKind::T => {
                let inward = (tip - foot.at).normalize();
                let half = Vec2::new(inward.y, -inward.x) * (depth / 3.0).min(2.0);
                Some(vec![slit.to_vec(), vec![tip - half, tip + half]])
            }
            _ => Some(vec![slit.to_vec()]),
        };
        let made = made.filter(|strokes| kind == NotchKind::Slit || self.stays_clear(strokes, foot.at, on_the_line));
        let as_wanted = made.is_some();
        for points in made.unwrap_or_else(|| vec![slit.to_vec()]) {
            strokes.push(Stroke { role: Role::Notch, edge: edge.name.clone(), path: polyline(&points) });
        }
        as_wanted
    }

    /// A V inward that is part of the cut line, where there is room for it.
    fn inward(&self, foot: &Foot, tip: Point, depth: f64, on_the_line: bool) -> Option<Spliced> {
        let (a, b) = self.base(foot, depth)?;
        let half = depth * BASE;
        self.stays_clear(&[vec![a, tip], vec![tip, b]], foot.at, on_the_line).then_some(Spliced {
            from: foot.along - half,
            to: foot.along + half,
            tip,
            base: [a, b],
            inward: true,
        })
    }

    fn outward(&self, foot: &Foot, out: Vec2, depth: f64) -> Option<Spliced> {
        let tip = foot.at + out * depth;
        let (a, b) = self.base(foot, depth)?;
        let half = depth * BASE;
        self.stays_clear(&[vec![a, tip], vec![tip, b]], foot.at, true).then_some(Spliced {
            from: foot.along - half,
            to: foot.along + half,
            tip,
            base: [a, b],
            inward: false,
        })
    }

    /// Whether strokes cross neither the cut line (which they may touch where they start on it, next to `foot`) nor,
    /// unless on the line, come near the sew line.
    fn stays_clear(&self, strokes: &[Vec<Point>], foot: Point, on_the_line: bool) -> bool {
        let cut = lines(&self.cut.cut_line);
        strokes.iter().all(|points| {
            let clear_of_cut = points.windows(2).all(|pair| {
                // Pull the ends in, so that a stroke which starts on the cut line doesn't count as crossing it.
                let line = Line::new(pair[0].lerp(pair[1], 0.02), pair[0].lerp(pair[1], 0.98));
                cut.iter().all(|other| PathSeg::Line(*other).intersect_line(line).is_empty())
            });
            let clear_of_sewing = on_the_line
                || points.iter().all(|point| *point == foot || self.ground.distance(*point) >= STANDOFF - 0.15);
            clear_of_cut && clear_of_sewing
        })
    }
}

/// Whether a notch takes no part of the cut line that another has.
fn clear_of_others(v: &Spliced, others: &[Spliced], long: f64) -> bool {
    let apart = |other: &Spliced, turn: f64| v.to + turn < other.from || v.from + turn > other.to;
    others.iter().all(|other| [-long, 0.0, long].into_iter().all(|turn| apart(other, turn)))
}

/// Where the normal from a sew point meets the cut line.
struct Foot {
    at: Point,
    /// Distance from the sew point, mm.
    width: f64,
    /// Distance along the cut line from its start, mm.
    along: f64,
}

/// Goes from the sew line along the unit vector `out` to the first point of the cut line.
fn foot(cut_line: &BezPath, sew: Point, out: Vec2) -> Option<Foot> {
    // The ray starts a little inside, so that a cut line that lies on the sew line is met too; and where it slips
    // between two segments at their shared end, one a millionth of a millimetre beside it does not.
    const INSIDE: f64 = 0.01;
    let reach = kurbo::Shape::bounding_box(cut_line).size().to_vec2().hypot() + 2.0 * INSIDE;
    let aside = Vec2::new(-out.y, out.x);
    [0.0, 1e-6, -1e-6].into_iter().find_map(|shift| {
        let start = sew - out * INSIDE + aside * shift;
        let ray = Line::new(start, start + out * reach);
        let mut before = 0.0;
        let mut best: Option<Foot> = None;
        for segment in cut_line.segments() {
            for hit in segment.intersect_line(ray) {
                let width = (hit.line_t * reach - INSIDE).max(0.0);
                if best.as_ref().is_none_or(|found| width < found.width) {
                    let t = hit.segment_t.clamp(0.0, 1.0);
                    let along = before + segment.subsegment(0.0..t).arclen(path::ARC_ACCURACY);
                    best = Some(Foot { at: segment.eval(t), width, along });
                }
            }
            before += segment.arclen(path::ARC_ACCURACY);
        }
        best
    })
}

/// The closed cut line with a V in the place of each stretch. Segments that no V touches stay as they are.
fn spliced(cut_line: &BezPath, mut outward: Vec<Spliced>) -> BezPath {
    outward.sort_by(|a, b| a.from.total_cmp(&b.from));
    let Some(first) = outward.first().map(|v| v.from) else {
        return cut_line.clone();
    };
    let long = path::length(cut_line);
    let mut spliced = BezPath::new();
    for (i, v) in outward.iter().enumerate() {
        let next = outward.get(i + 1).map_or(first + long, |next| next.from);
        append(&mut spliced, cut_line, v.to, next.max(v.to));
        let tip = outward.get(i + 1).unwrap_or(&outward[0]).tip;
        spliced.line_to(tip);
    }
    spliced.close_path();
    spliced
}

/// Adds the stretch of a closed path between two distances, the second of which may lie beyond the path's end.
fn append(to: &mut BezPath, closed: &BezPath, from: f64, until: f64) {
    let long = path::length(closed);
    let shift = from.div_euclid(long) * long;
    let (from, until) = (from - shift, until - shift);
    let mut before = 0.0;
    let place = |to: &mut BezPath, point: Point| if to.is_empty() { to.move_to(point) } else { to.line_to(point) };
    let mut started = false;
    for segment in closed.segments().chain(closed.segments()) {
        let size = segment.arclen(path::ARC_ACCURACY);
        let (a, b) = ((from - before).clamp(0.0, size), (until - before).clamp(0.0, size));
        before += size;
        let param = |distance: f64| match distance {
            d if d <= 0.0 => 0.0,
            d if d >= size => 1.0,
            d => segment.inv_arclen(d, path::ARC_ACCURACY),
        };
        if b <= a {
            continue;
        }
        let part = if a <= 0.0 && b >= size { segment } else { segment.subsegment(param(a)..param(b)) };
        if !started {
            place(to, part.start());
            started = true;
        }
        to.push(part.as_path_el());
    }
}

fn polyline(points: &[Point]) -> BezPath {
    super::polyline(points)
}
