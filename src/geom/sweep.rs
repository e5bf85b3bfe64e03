//! The one door to the sweep-line library that cleans up overlapping loops and keeps their Béziers.
//!
//! linesweeper is pinned exactly and can panic on input that it does not like; here a panic becomes a [`Fault`], in
//! silence. It goes no further than this file.

use kurbo::{BezPath, PathSeg, Rect, Shape};
use linesweeper::topology::{BinaryWindingNumber, Topology};
use std::cell::Cell;
use std::panic::{self, AssertUnwindSafe};
use std::sync::Once;

/// How far the sweep may move a point, mm.
const EPSILON: f64 = 1e-6;

/// Segments whose boxes are smaller than this say nothing of a line that is true to 0.005 mm, mm.
const TINY: f64 = 0.01;

/// So many tiny segments over one another, and over one place of twice their size, are no line but a tangle. The sweep
/// parts each from every other again and again: the time goes up with the fourth power of their number (0.5 ms for 20,
/// 36 ms for 60, 150 ms for 80, 2-core x86-64), and of 107 it did not come to an end in a minute.
const TANGLE: usize = 48;

/// Why there is no answer.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Fault {
    /// The library panicked; its message.
    Panicked(String),
    /// The loop is not closed, or holds a number that is not finite.
    Malformed,
    /// Very many very small segments lie over one another.
    Tangled,
}

/// The boundary of all points about which `loops` winds at least once counter-clockwise, and which lie in `within` where
/// that is given (a counter-clockwise closed path). Outer contours run counter-clockwise, holes clockwise.
///
/// # Errors
/// See [`Fault`].
pub fn wound(loops: &BezPath, within: Option<&BezPath>) -> Result<Vec<BezPath>, Fault> {
    let empty = BezPath::new();
    let within = within.unwrap_or(&empty);
    if !(loops.is_finite() && within.is_finite()) {
        return Err(Fault::Malformed);
    }
    if tangled(loops) {
        return Err(Fault::Tangled);
    }
    let everywhere = within.is_empty();
    let contours = guarded(|| {
        let topology = Topology::<BinaryWindingNumber>::from_paths_binary(loops, within, EPSILON).ok()?;
        let contours = topology.contours(|w| w.shape_a > 0 && (everywhere || w.shape_b != 0));
        Some(contours.into_contours().map(|contour| contour.path).collect::<Vec<_>>())
    })?;
    let mut contours = contours.ok_or(Fault::Malformed)?;
    for contour in &mut contours {
        if !contour.is_finite() {
            return Err(Fault::Malformed);
        }
    }
    contours.retain(|contour| contour.area() != 0.0);
    Ok(contours)
}

/// Whether anywhere [`TANGLE`] tiny segments lie over one of them.
fn tangled(path: &BezPath) -> bool {
    let mut tiny: Vec<Rect> =
        path.segments().map(|segment| hull(&segment)).filter(|b| b.size().max_side() < TINY).collect();
    tiny.sort_by(|a, b| a.x0.total_cmp(&b.x0));
    let over = |a: &Rect, b: &Rect| a.y0 <= b.y1 && b.y0 <= a.y1;
    (0..tiny.len()).any(|i| {
        // Of all that lie over one another the first from the left meets every other.
        let near = tiny[i + 1..].iter().take_while(|other| other.x0 <= tiny[i].x1);
        near.filter(|other| over(&tiny[i], other)).take(TANGLE).count() == TANGLE
    })
}

/// The box of a segment's control points.
fn hull(segment: &PathSeg) -> Rect {
    let c = segment.to_cubic();
    Rect::from_points(c.p0, c.p3).union_pt(c.p1).union_pt(c.p2)
}

thread_local! {
    static QUIET: Cell<bool> = const { Cell::new(false) };
}

/// Runs `work`; a panic in it becomes a [`Fault`] and prints nothing.
fn guarded<T>(work: impl FnOnce() -> T) -> Result<T, Fault> {
    static HOOK: Once = Once::new();
    HOOK.call_once(|| {
        let before = panic::take_hook();
        panic::set_hook(Box::new(move |info| {
            if !QUIET.get() {
                before(info);
            }
        }));
    });
    QUIET.set(true);
    let outcome = panic::catch_unwind(AssertUnwindSafe(work));
    QUIET.set(false);
    outcome.map_err(|cause| {
        let text = cause.downcast_ref::<&str>().map(ToString::to_string);
        Fault::Panicked(text.or_else(|| cause.downcast_ref::<String>().cloned()).unwrap_or_default())
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use kurbo::Rect;

    #[test]
    fn panic_becomes_a_fault() {
        // The library's own failure: an infinite coordinate makes its ordering panic. `wound` refuses such a path at the
        // door, so the guard is tried without it.
        let path = BezPath::from_svg("M0 0 L10 0 L10 10 Z").expect("path");
        let bad = kurbo::Affine::scale(f64::NAN) * path;
        let outcome = guarded(|| Topology::<BinaryWindingNumber>::from_paths_binary(&bad, &bad, EPSILON).is_ok());
        assert!(matches!(outcome, Err(Fault::Panicked(_)) | Ok(false)), "{outcome:?}");
        let outcome: Result<(), Fault> = guarded(|| panic!("seeded"));
        assert_eq!(outcome, Err(Fault::Panicked("seeded".into())));
        assert_eq!(wound(&bad, None), Err(Fault::Malformed));
    }

    #[test]
    fn winds_counter_clockwise_only() {
        let square = Rect::new(0.0, 0.0, 10.0, 10.0).to_path(0.1);
        let area = |paths: &[BezPath]| paths.iter().map(Shape::area).sum::<f64>();
        assert!((area(&wound(&square, None).expect("sweeps")) - 100.0).abs() < 1e-9);
        assert!(wound(&square.reverse_subpaths(), None).expect("sweeps").is_empty());
        let half = Rect::new(5.0, -1.0, 20.0, 20.0).to_path(0.1);
        assert!((area(&wound(&square, Some(&half)).expect("sweeps")) - 50.0).abs() < 1e-9);
    }

    #[test]
    fn tangle_is_refused() {
        // A line to and fro within a hundredth of a millimetre, each time a hair beside the last.
        let zigzag = |count: u32| {
            let mut path = BezPath::from_svg("M0 0 L0 -10 L10 0").expect("path");
            for i in 0..count {
                path.line_to((1e-8 * f64::from(i), 0.005 * f64::from(i % 2)));
            }
            path.close_path();
            path
        };
        assert_eq!(wound(&zigzag(200), None), Err(Fault::Tangled));
        let area: f64 = wound(&zigzag(12), None).expect("sweeps").iter().map(Shape::area).sum();
        assert!((area - 50.0).abs() < 1e-3, "{area}");
        // As many as small beside one another are a line.
        let mut stair = BezPath::from_svg("M0 0 L0 -10 L10 0").expect("path");
        (0..2000).for_each(|i| stair.line_to((10.0 - 0.005 * f64::from(i + 1), 0.001 * f64::from(i % 2))));
        stair.close_path();
        assert!(!tangled(&stair));
    }
}
