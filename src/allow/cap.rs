//! The edge across the mouth of a dart or pleat, as it must be cut so that, folded the way it is pressed, its raw edge lies
//! on the seam's.
//!
//! The cloth in the mouth of a dart pressed to the start lies in two layers on the edge's part before it: the half beside
//! the first leg turned over about that leg, the other half carried along with the second leg. So the first half of the
//! mouth is the edge before it mirrored about the first leg, as far as the fold; the second half is the first mirrored
//! about the fold. A knife pleat is the same with parallel legs. A dart pressed open is slit along its fold, and each half
//! is the mirror image of the edge on its own side; a box pleat has a quarter of each image on either side.

use crate::diag::Finding;
use crate::geom::crossing::run_up;
use crate::geom::path::ARC_ACCURACY;
use crate::piece::{Edge, Piece, Pressed};
use kurbo::{Affine, Line, ParamCurve, ParamCurveArclen, PathSeg, Point, Vec2};

/// Legs of a dart that differ by more than this are worth a word, mm.
const UNEVEN: f64 = 1.0;

/// Mouths that overlap by less than this only touch, mm.
const TOUCH: f64 = 1e-3;

/// A fold that ends at a corner of a cap. The cut lines of the two layers run on to it as the layers themselves do.
#[derive(Clone, Debug)]
pub struct Tip {
    /// A point of the fold, and its direction.
    pub fold: (Point, Vec2),
    /// The sew line's continuation beyond the fold: of the layer before it, and of the layer after it, both in the sew
    /// line's direction. Empty where it goes on straight.
    pub beyond: [Vec<PathSeg>; 2],
}

/// A stretch of a capped edge, and the fold at its end.
pub type Stretch = (PathSeg, Option<Tip>);

/// One mouth on an edge.
struct Mouth {
    what: &'static str,
    span: [f64; 2],
    /// The dart's point; none for a pleat, whose legs are parallel.
    apex: Option<Point>,
    pressed: Pressed,
}

/// The edge with the true cap across each of its mouths, and what there is to say about them.
///
/// # Errors
/// A mouth that is not on the edge, is empty or overlaps another, or a dart whose point lies outside the piece.
pub fn capped(piece: &Piece, edge: &Edge, findings: &mut Vec<Finding>) -> Result<Vec<Stretch>, Finding> {
    let segments: Vec<PathSeg> = edge.path.segments().collect();
    let mouths = mouths(piece, edge);
    if mouths.is_empty() {
        return Ok(segments.into_iter().map(|segment| (segment, None)).collect());
    }
    let long: f64 = segments.iter().map(|s| s.arclen(ARC_ACCURACY)).sum();
    let mut done = 0.0;
    let mut out: Vec<Stretch> = Vec::new();
    let plain = |segment: &PathSeg| (*segment, None);
    for (index, mouth) in mouths.iter().enumerate() {
        let [from, to] = mouth.span;
        let next = mouths.get(index + 1).map_or(long, |next| next.span[0]);
        if !(from >= done - TOUCH && to > from + TOUCH && to <= next + TOUCH && next <= long + TOUCH) {
            let text = format!("the mouth of {} from {from} to {to} mm does not fit on the edge", mouth.what);
            return Err(Finding::error(text).hint(format!("the edge is {long:.1} mm long; mouths may not overlap")));
        }
        let before = part(&segments, [done, from]);
        let after = part(&segments, [to, next]);
        let across = part(&segments, [from, to]);
        out.extend(before.iter().map(plain));
        if let Some(cap) = cap(mouth, &before, &across, &after, findings)? {
            out.extend(cap)
        } else {
            let text = format!("the edge beside {} is too crooked for a cap; it is left as drawn", mouth.what);
            findings.push(Finding::warning(text).hint("draw the mouth as it is to be cut"));
            out.extend(across.iter().map(plain));
        }
        done = to;
    }
    out.extend(part(&segments, [done, long]).iter().map(plain));
    Ok(out)
}

fn mouths(piece: &Piece, edge: &Edge) -> Vec<Mouth> {
    let darts = piece.darts.iter().filter(|dart| dart.edge == edge.name).map(|dart| Mouth {
        what: "a dart",
        span: dart.mouth,
        apex: Some(dart.apex),
        pressed: dart.pressed,
    });
    let pleats = piece.pleats.iter().filter(|pleat| pleat.edge == edge.name).map(|pleat| Mouth {
        what: "a pleat",
        span: pleat.mouth,
        apex: None,
        pressed: pleat.pressed,
    });
    let mut mouths: Vec<Mouth> = darts.chain(pleats).collect();
    mouths.sort_by(|a, b| a.span[0].total_cmp(&b.span[0]));
    mouths
}

/// The part of a run between two distances along it.
fn part(segments: &[PathSeg], [from, to]: [f64; 2]) -> Vec<PathSeg> {
    let mut out = Vec::new();
    let mut start = 0.0;
    for segment in segments {
        let long = segment.arclen(ARC_ACCURACY);
        let at = |distance: f64| {
            if distance <= start + TOUCH * 1e-3 {
                0.0
            } else if distance >= start + long - TOUCH * 1e-3 {
                1.0
            } else {
                segment.inv_arclen(distance - start, ARC_ACCURACY)
            }
        };
        let (a, b) = (at(from), at(to));
        if a < b {
            out.push(segment.subsegment(a..b));
        }
        start += long;
    }
    out
}

fn reversed(segments: &[PathSeg]) -> Vec<PathSeg> {
    segments.iter().rev().map(PathSeg::reverse).collect()
}

fn moved(by: Affine, segments: &[PathSeg]) -> Vec<PathSeg> {
    segments.iter().map(|segment| by * *segment).collect()
}

/// A run's beginning at `start`, or where it has no length, a hint of the line in which the mouth leaves it.
fn away(run: &[PathSeg], start: Point, along: Vec2) -> Vec<PathSeg> {
    if run.is_empty() { vec![PathSeg::Line(Line::new(start, start + along))] } else { run.to_vec() }
}

fn cap(
    mouth: &Mouth,
    before: &[PathSeg],
    across: &[PathSeg],
    after: &[PathSeg],
    findings: &mut Vec<Finding>,
) -> Result<Option<Vec<Stretch>>, Finding> {
    let Some((p, q)) = across.first().zip(across.last()).map(|(a, b)| (a.start(), b.end())) else { return Ok(None) };
    let chord = q - p;
    let wide = chord.hypot();
    if wide < TOUCH {
        return Err(Finding::error(format!("the mouth of {} has no width", mouth.what)));
    }
    let along = chord / wide;
    let inward = Vec2::new(-along.y, along.x);
    let legs = match mouth.apex {
        None => [inward, inward],
        Some(apex) => {
            if (apex - p).dot(inward) < 1.0 || (apex - q).dot(inward) < 1.0 {
                let hint = "its point lies inside the piece, across from its mouth";
                return Err(Finding::error("a dart points out of the piece").hint(hint));
            }
            let uneven = (apex.distance(p) - apex.distance(q)).abs();
            if uneven > UNEVEN {
                let text = format!("a dart's legs differ by {uneven:.1} mm, so that its cap can't lie true");
                findings.push(Finding::warning(text).hint("move its point or its mouth until they are alike"));
            }
            [apex - p, apex - q]
        }
    };
    let middle = p.midpoint(q);
    let fold = Affine::reflect(middle, inward);
    // Both parts of the edge, walked away from the mouth.
    let left = away(&reversed(before), p, -along);
    let right = away(after, q, along);
    let over_left = moved(Affine::reflect(p, legs[0]), &left);
    let over_right = moved(Affine::reflect(q, legs[1]), &right);
    let to_fold = |run: &[PathSeg], way: f64| run_up(run, |at| way * (at - middle).dot(along));
    let layers = match (mouth.pressed, mouth.apex) {
        // Two layers that are each other's mirror images about the fold.
        (Pressed::ToStart, _) => to_fold(&over_left, 1.0).map(|layer| {
            let image = layer.clone().map(|run| reversed(&moved(fold, &run)));
            vec![(layer, middle), (image, q)]
        }),
        (Pressed::ToEnd, _) => to_fold(&over_right, -1.0).map(|layer| {
            let image = layer.clone().map(|run| moved(fold, &run));
            vec![(image, middle), (layer.map(|run| reversed(&run)), q)]
        }),
        (Pressed::Open, Some(_)) => to_fold(&over_left, 1.0)
            .zip(to_fold(&over_right, -1.0))
            .map(|(first, second)| vec![(first, middle), (second.map(|run| reversed(&run)), q)]),
        // A box pleat: folds at a quarter and three quarters of the mouth, and in the middle the seam itself.
        (Pressed::Open, None) => {
            let quarter = wide / 4.0;
            let image =
                |run: &[PathSeg], foot: Point, way: f64| run_up(run, |at| way * (at - foot).dot(along) - quarter);
            let shift = Affine::translate(2.0 * quarter * along);
            let first = image(&over_left, p, 1.0).zip(image(&left, p, -1.0));
            let second = image(&over_right, q, -1.0).zip(image(&right, q, 1.0));
            first.zip(second).map(|((a, b), (d, c))| {
                let (b, c) = (b.map(|run| moved(shift, &reversed(&run))), c.map(|run| moved(shift.inverse(), &run)));
                let folds = [p + quarter * along, middle, q - quarter * along, q];
                [a, b, c, d.map(|run| reversed(&run))].into_iter().zip(folds).collect()
            })
        }
    };
    Ok(layers.map(|layers| stretches(&layers, inward)))
}

/// Layers (each a run and what lies beyond its fold, with the fold at the layer's end) as one run of stretches.
fn stretches(layers: &[([Vec<PathSeg>; 2], Point)], inward: Vec2) -> Vec<Stretch> {
    let mut out: Vec<Stretch> = Vec::new();
    for (index, ([run, rest], foot)) in layers.iter().enumerate() {
        // Layers slit apart at the fold may end at different heights on it.
        let last = out.last().map_or(run[0].start(), |(segment, _)| segment.end());
        if last.distance(run[0].start()) > TOUCH {
            out.push((PathSeg::Line(Line::new(last, run[0].start())), None));
        }
        out.extend(run.iter().map(|segment| (*segment, None)));
        // In a box pleat the middle is no fold but the seam, where the edge itself turns.
        let seam = layers.len() == 4 && index == 1;
        if let (Some((_, tip)), Some(([_, next_rest], _))) = (out.last_mut(), layers.get(index + 1))
            && !seam
        {
            *tip = Some(Tip { fold: (*foot, inward), beyond: [rest.clone(), next_rest.clone()] });
        }
    }
    out
}
