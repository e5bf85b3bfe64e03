//! Which ends lie near which: the candidates that a tour search looks at.
//!
//! The nearest few, and the nearest few in each quadrant besides: ends come in clusters (letters, pleats), and without
//! the quadrants no candidate leads out of one (Johnson & `McGeoch`, "Experimental analysis of heuristics for the STSP",
//! 2002, section 2).

use super::tree::{Few, Tree};
use kurbo::Point;

/// How many candidates each end has.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Counts {
    /// Nearest of all.
    pub(super) nearest: usize,
    /// Nearest in each quadrant.
    pub(super) quadrant: usize,
}

/// The candidates of every end, nearest first.
pub(super) struct Near {
    from: Vec<u32>,
    ends: Vec<(u32, f64)>,
}

impl Near {
    /// The candidates of each site, a point of a path, among the ends; ends 2i and 2i + 1 belong to path i, and are no
    /// candidates of its sites. `apart` is added where a candidate's path is of another group than the site's.
    pub(super) fn new(
        sites: &[(u32, Point)],
        points: &[Point],
        counts: Counts,
        apart: impl Fn(u32, u32) -> f64,
    ) -> Self {
        let tree = Tree::new(points.to_vec(), true);
        let mut near = Self { from: Vec::with_capacity(sites.len() + 1), ends: Vec::new() };
        near.from.push(0);
        // Two more than wanted, as the end itself and its path's other end may be among them.
        let more = |count: usize| if count > 0 { count + 2 } else { 0 };
        let mut few = [counts.quadrant, counts.quadrant, counts.quadrant, counts.quadrant, counts.nearest]
            .map(|count| Few::new(more(count)));
        let mut own = Vec::new();
        for &(path, point) in sites {
            own.clear();
            tree.nearest_few(point, &mut few);
            for (index, few) in few.iter().enumerate() {
                let count = if index == 4 { counts.nearest } else { counts.quadrant };
                own.extend(few.found.iter().map(|(_, end)| *end).filter(|end| end / 2 != path as usize).take(count));
            }
            own.sort_unstable();
            own.dedup();
            let start = near.ends.len();
            near.ends.extend(
                own.iter().map(|end| (*end as u32, point.distance(points[*end]) + apart(path, *end as u32 / 2))),
            );
            near.ends[start..].sort_unstable_by(|a, b| a.1.total_cmp(&b.1).then(a.0.cmp(&b.0)));
            near.from.push(near.ends.len() as u32);
        }
        near
    }

    /// A site's candidates with what joining them costs, cheapest first.
    pub(super) fn of(&self, site: u32) -> &[(u32, f64)] {
        &self.ends[self.from[site as usize] as usize..self.from[site as usize + 1] as usize]
    }
}
