//! What a master block in card has besides: a hole to hang it by.

use super::Stroke;
use super::ground::Ground;
use crate::diag::Finding;
use crate::piece::Piece;
use crate::role::Role;
use kurbo::{BezPath, Point, Vec2};

/// Radii of the hole, mm, the first that has room: the hooks of a pattern rail take half an inch, a nail the least (common
/// practice, no source).
const RADII: [f64; 4] = [6.5, 5.0, 4.0, 2.5];

/// Card between the hole and any edge, mm: less tears out (common practice, no source).
const CLEAR: f64 = 12.0;

/// Clear of what is drawn, mm.
const BERTH: f64 = 2.0;

/// Places tried along and across.
const PLACES: usize = 40;

/// Whether a piece is a master block: net by request, or net as drafted and cut from card.
pub(super) fn is_block(piece: &Piece, net: bool) -> bool {
    net || piece.cut.cloth.contains("card") && piece.edges.iter().all(|edge| edge.allowance == 0.0)
}

/// The hole, near the head of the grain and the middle, clear of every edge and mark. It is a cut, drawn clockwise as the
/// inside of a hole.
pub(super) fn hanging_hole(piece: &Piece, ground: &Ground, findings: &mut Vec<Finding>) -> Option<Stroke> {
    let [tail, head] = piece.grain;
    let up = (head - tail).normalize();
    let across = Vec2::new(-up.y, up.x);
    let home = tail.midpoint(head);
    let (low, high) = ground.extent(up, home);
    let (left, right) = ground.extent(across, home);
    let middle = f64::midpoint(left, right);
    let at = |i: usize, from: f64, to: f64| from + (to - from) * (i as f64 + 0.5) / PLACES as f64;
    for radius in RADII {
        // The least distance down from the top and away from the middle.
        let mut best: Option<(f64, Point)> = None;
        for row in 0..PLACES {
            for column in 0..PLACES {
                let (rise, aside) = (at(row, low, high), at(column, left, right));
                let cost = (high - rise) + 0.25 * (aside - middle).abs();
                if best.is_some_and(|(least, _)| cost >= least) {
                    continue;
                }
                let centre = home + up * rise + across * aside;
                let clear = ground.contains(centre) && ground.distance(centre) >= radius + CLEAR;
                if clear && ground.berth(&circle(centre, radius + BERTH)) > 0.0 {
                    best = Some((cost, centre));
                }
            }
        }
        if let Some((_, centre)) = best {
            let path = circle(centre, radius).reverse_subpaths();
            return Some(Stroke { role: Role::Cut, edge: "hanging hole".into(), path });
        }
    }
    findings.push(
        Finding::note("the block has no room for a hanging hole clear of its edges and marks")
            .piece(&piece.name)
            .hint("keep it in an envelope"),
    );
    None
}

/// Four arcs that end exactly where they start; cubics with the usual 0.5523 of the radius stray 0.03 % from the circle.
fn circle(centre: Point, radius: f64) -> BezPath {
    const KAPPA: f64 = 0.552_284_749_830_793_4;
    let (r, k) = (radius, KAPPA * radius);
    let at = |x: f64, y: f64| centre + Vec2::new(x, y);
    let mut path = BezPath::new();
    path.move_to(at(r, 0.0));
    path.curve_to(at(r, k), at(k, r), at(0.0, r));
    path.curve_to(at(-k, r), at(-r, k), at(-r, 0.0));
    path.curve_to(at(-r, -k), at(-k, -r), at(0.0, -r));
    path.curve_to(at(k, -r), at(r, -k), at(r, 0.0));
    path.close_path();
    path
}
