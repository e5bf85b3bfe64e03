//! DXF of release 2000 (AC1015), written group code by group code after the published DXF reference: 7-bit text, metric,
//! one entity for each stroke, on layers named by role. The `dxf` crate is not used here: its files need repairs when
//! they are opened, and it writes the clock into them.

mod exchange;
mod frame;

pub use exchange::{Exchange, ExchangePiece, dxf_exchange};

use super::flat::chords;
use super::{DECIMALS, layer, size_of};
use crate::calibrate::CorrectedJob;
use crate::units::push_trimmed;
use frame::{Frame, MODEL_SPACE, section};
use kurbo::{BezPath, CubicBez, ParamCurve, PathEl, PathSeg, Point};
use std::collections::BTreeSet;
use std::fmt::{Display, Write as _};
use std::io::Write as _;

/// How curves are written.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Curves {
    /// Exactly, as cubic splines whose inner knots are triple.
    Spline,
    /// As polylines that stray by no more than this, mm: for readers that dislike triple knots.
    Polyline(f64),
}

/// A job as a DXF file, coordinates as they stand in the job: millimetres, y up.
///
/// Strokes keep their working order. A stroke of straight lines is a `LINE` or an `LWPOLYLINE`; one with a curve in it
/// is a single `SPLINE` in which lines are raised to cubics, or an `LWPOLYLINE`, by `curves`.
pub fn dxf(job: &CorrectedJob, curves: Curves) -> Vec<u8> {
    let stamp = job.stamp();
    let job = job.job();
    let strokes = || job.passes.iter().flat_map(|pass| &pass.strokes).filter(|stroke| draws(&stroke.path));
    let mut handle = frame::FIRST_FREE_HANDLE;
    let mut bounds: Option<kurbo::Rect> = None;
    let mut nested = BTreeSet::new();
    for stroke in strokes() {
        let size = size_of(job, stroke);
        if size > 0 {
            nested.insert((stroke.role, size));
        }
        handle += 1;
        let own = kurbo::Shape::bounding_box(&stroke.path);
        bounds = Some(bounds.map_or(own, |all| all.union(own)));
    }
    let frame = Frame {
        comments: [&job.title, &stamp.text, &job.device, &job.medium],
        bounds: bounds.unwrap_or(kurbo::Rect::new(0.0, 0.0, job.width, job.height)),
        next_handle: handle,
        nested: nested.into_iter().collect(),
    };
    let mut room = Room::default();
    let entities = |tags: &mut Tags| {
        for (handle, stroke) in (frame::FIRST_FREE_HANDLE..).zip(strokes()) {
            let size = size_of(job, stroke);
            entity(tags, handle, &layer(stroke.role, size), &shape(&stroke.path, curves, &mut room), size > 1);
        }
    };
    frame.around(entities).0
}

/// Whether a path has a segment. A dot, `M p L p`, is a line of no length: kept, since a pen draws it.
fn draws(path: &BezPath) -> bool {
    path.segments().next().is_some()
}

/// What one stroke becomes.
enum Shape<'a> {
    Line(Point, Point),
    Polyline { points: &'a [Point], closed: bool },
    Spline(&'a [CubicBez]),
}

/// Room for a stroke's points, used for stroke after stroke.
#[derive(Default)]
struct Room {
    points: Vec<Point>,
    chain: Vec<CubicBez>,
}

/// The shape of a path that draws something.
fn shape<'a>(path: &BezPath, curves: Curves, room: &'a mut Room) -> Shape<'a> {
    let straight = !path.elements().iter().any(|el| matches!(el, PathEl::QuadTo(..) | PathEl::CurveTo(..)));
    let tolerance = match curves {
        Curves::Spline if !straight => {
            room.chain.clear();
            room.chain.extend(path.segments().map(raised));
            return Shape::Spline(&room.chain);
        }
        Curves::Spline => 0.0,
        Curves::Polyline(tolerance) => tolerance,
    };
    let closed = matches!(path.elements().last(), Some(PathEl::ClosePath));
    chords(path.segments(), tolerance, &mut room.points);
    match *room.points {
        [from, to] if straight && !closed => Shape::Line(from, to),
        // The closing flag draws the last side; the chords have already led back to the start.
        [ref points @ .., _] if closed => Shape::Polyline { points, closed },
        ref points => Shape::Polyline { points, closed },
    }
}

/// A segment as a cubic. A line's control points are its thirds, so that the spline runs along it evenly.
fn raised(segment: PathSeg) -> CubicBez {
    match segment {
        PathSeg::Line(line) => CubicBez::new(line.p0, line.eval(1.0 / 3.0), line.eval(2.0 / 3.0), line.p1),
        curve => curve.to_cubic(),
    }
}

/// `dashed` asks for a line type that runs on through the corners of a polyline.
fn entity(tags: &mut Tags, handle: u32, layer: &str, shape: &Shape, dashed: bool) {
    let kind = match shape {
        Shape::Line(..) => "LINE",
        Shape::Polyline { .. } => "LWPOLYLINE",
        Shape::Spline(_) => "SPLINE",
    };
    tags.word(0, kind);
    tags.handle(5, handle);
    tags.handle(330, MODEL_SPACE);
    tags.word(100, "AcDbEntity");
    tags.word(8, layer);
    match shape {
        Shape::Line(from, to) => {
            tags.word(100, "AcDbLine");
            tags.point(10, *from);
            tags.point(11, *to);
        }
        Shape::Polyline { points, closed } => {
            tags.word(100, "AcDbPolyline");
            tags.put(90, points.len());
            tags.put(70, u8::from(*closed) + if dashed { 128 } else { 0 });
            for point in *points {
                tags.real(10, point.x);
                tags.real(20, point.y);
            }
        }
        Shape::Spline(chain) => spline(tags, chain),
    }
}

/// A chain of n cubics as one spline of degree 3: 3n + 1 control points, knots 0 four times, each inner integer three
/// times and n four times, so that it passes through every joint and is the chain itself.
fn spline(tags: &mut Tags, chain: &[CubicBez]) {
    const PLANAR: u8 = 8;
    tags.word(100, "AcDbSpline");
    tags.put(70, PLANAR);
    tags.put(71, 3);
    tags.put(72, 3 * chain.len() + 5);
    tags.put(73, 3 * chain.len() + 1);
    tags.put(74, 0);
    tags.real(42, 1e-6);
    tags.real(43, 1e-6);
    for i in 0..=chain.len() {
        let times = if i == 0 || i == chain.len() { 4 } else { 3 };
        for _ in 0..times {
            tags.real(40, i as f64);
        }
    }
    tags.point(10, chain[0].p0);
    for cubic in chain {
        for point in [cubic.p1, cubic.p2, cubic.p3] {
            tags.point(10, point);
        }
    }
}

/// Group codes and their values, each on its own line.
#[derive(Default)]
struct Tags(Vec<u8>);

impl Tags {
    fn put(&mut self, code: u16, value: impl Display) {
        self.code(code);
        writeln!(self.0, "{value}").expect("writing to memory");
    }

    /// A value that is written as it is.
    fn word(&mut self, code: u16, value: &str) {
        self.code(code);
        self.0.extend_from_slice(value.as_bytes());
        self.0.push(b'\n');
    }

    /// A group code below 1000, right-aligned in three places.
    fn code(&mut self, code: u16) {
        let digit = |place: u16| if code >= place || place == 1 { b'0' + (code / place % 10) as u8 } else { b' ' };
        self.0.extend_from_slice(&[digit(100), digit(10), digit(1), b'\n']);
    }

    fn handle(&mut self, code: u16, handle: u32) {
        self.code(code);
        let first = (0..8).rev().find(|place| handle >> (4 * place) > 0).unwrap_or(0);
        for place in (0..=first).rev() {
            let digit = (handle >> (4 * place) & 15) as u8;
            self.0.push(if digit < 10 { b'0' + digit } else { b'A' + digit - 10 });
        }
        self.0.push(b'\n');
    }

    fn real(&mut self, code: u16, value: f64) {
        self.code(code);
        let has_decimals = push_trimmed(&mut self.0, value, DECIMALS);
        self.0.extend_from_slice(if has_decimals { b"\n" } else { b".0\n" });
    }

    /// A point in the plane z = 0, its x under `code`.
    fn point(&mut self, code: u16, point: Point) {
        self.real(code, point.x);
        self.real(code + 10, point.y);
        self.real(code + 20, 0.0);
    }

    /// A user's text: control characters as spaces, all but ASCII as `\U+XXXX` (two of them beyond the basic plane).
    fn text(&mut self, code: u16, text: &str) {
        let mut ascii = String::new();
        for c in text.chars() {
            if c.is_control() {
                ascii.push(' ');
            } else if c.is_ascii() {
                ascii.push(c);
            } else {
                for unit in c.encode_utf16(&mut [0; 2]) {
                    write!(ascii, "\\U+{unit:04X}").expect("writing to a string");
                }
            }
        }
        self.put(code, ascii);
    }
}
