//! The way of a machine's head through a file: what it takes, a picture of all of it, and the same in motion.

use super::drawing;
use super::html::{escape, name, table};
use super::page::SHEET_ROOM;
use super::words::{UNKNOWN, about, distance};
use crate::device::{Device, ToolKind, cautions};
use crate::order::Job;
use crate::order::estimate::{Estimate, Work, estimate};
use crate::units::{Unit, trimmed};
use kurbo::{BezPath, PathEl, Point, Rect, Size};
use std::fmt::Write;

/// The script that moves the pictures, and what the page's policy knows it by: the SHA-256 of its text (W3C, CSP 3,
/// 2.3.1). `tests/outside/proof_sheets.py` compares the two.
pub(super) const SCRIPT: &str = include_str!("way.js");
pub(super) const SCRIPT_IS: &str = "sha256-fwwmE+HJ3MdcOoT/jF2wT7t8vWLL7La3nxbYQIGIqQc=";

/// A chord strays by no more than this, mm, before its ends are moved to whole steps of [`GRID`]: in all half a
/// millimetre, less than a screen shows.
const STRAYS: f64 = 0.3;
/// Steps of the picture's coordinates, mm.
const GRID: f64 = 0.25;
/// Curves are followed in chords within this first, mm.
const FINE: f64 = 0.02;
/// The head's mark, mm on paper.
const HEAD: f64 = 1.2;
/// A tool whose speed nobody knows is shown at this, mm/s.
const SHOWN: f64 = 100.0;

/// The way of a machine's head through one file.
#[derive(Clone, Debug, PartialEq)]
pub struct HeadWay {
    file: String,
    device: String,
    size: Size,
    /// The machine's zero, in steps of [`GRID`], y down.
    zero: [i64; 2],
    estimate: Estimate,
    cautions: Vec<&'static str>,
    travel_speed: f64,
    lift_seconds: f64,
    stretches: Vec<Stretch>,
}

/// What one tool does before the next one takes over.
#[derive(Clone, Debug, PartialEq)]
struct Stretch {
    tool: String,
    /// The class of its colour.
    class: &'static str,
    speed: Option<f64>,
    /// The points of each stroke, in steps of [`GRID`], y down.
    strokes: Vec<Vec<[i64; 2]>>,
}

/// The way of the head through a job's file; `None` for what prints or shows everything at once.
pub fn head_way(file: &str, job: &Job, device: &Device) -> Option<HeadWay> {
    if !device.has_head() {
        return None;
    }
    let stretches = job.passes.iter().map(|pass| {
        let tool = device.tools.iter().find(|tool| tool.name == pass.tool);
        Stretch {
            tool: pass.tool.clone(),
            class: tool.map_or("pen-1", |tool| class(device, tool.kind, &tool.name)),
            speed: tool.and_then(|tool| tool.speed),
            strokes: pass.strokes.iter().map(|stroke| reduced(&stroke.path)).filter(|s| !s.is_empty()).collect(),
        }
    });
    Some(HeadWay {
        file: file.into(),
        device: device.name.clone(),
        size: Size::new(job.width, job.height),
        zero: on_grid(job.zero),
        estimate: estimate(job, device),
        cautions: if device.cuts() { cautions(device) } else { Vec::new() },
        travel_speed: device.travel_speed,
        lift_seconds: device.lift_seconds,
        stretches: stretches.collect(),
    })
}

impl HeadWay {
    /// What the job takes.
    pub fn estimate(&self) -> &Estimate {
        &self.estimate
    }
}

/// The class of a tool's colour: knives and wheels are alike, pens are told apart.
fn class(device: &Device, kind: ToolKind, tool: &str) -> &'static str {
    match kind {
        ToolKind::Knife => "knife",
        ToolKind::Crease => "wheel",
        ToolKind::Pen => {
            let mut pens = device.tools.iter().filter(|other| other.kind == kind);
            ["pen-1", "pen-2", "pen-3"][pens.position(|other| other.name == tool).unwrap_or(0) % 3]
        }
    }
}

/// A path of one subpath as few points: those that the polygon of Douglas and Peucker (The Canadian Cartographer 10, 1973)
/// keeps, on the picture's grid.
fn reduced(path: &BezPath) -> Vec<[i64; 2]> {
    let mut points: Vec<Point> = Vec::new();
    let mut start = Point::ORIGIN;
    kurbo::flatten(path.iter(), FINE, |element| match element {
        PathEl::MoveTo(p) => {
            start = p;
            points.push(p);
        }
        PathEl::LineTo(p) => points.push(p),
        PathEl::ClosePath => points.push(start),
        _ => {}
    });
    if points.len() < 2 || points.iter().any(|p| !p.is_finite()) {
        return Vec::new();
    }
    let mut keep = vec![false; points.len()];
    (keep[0], keep[points.len() - 1]) = (true, true);
    let mut open = vec![[0, points.len() - 1]];
    while let Some([from, to]) = open.pop() {
        let chord = kurbo::Line::new(points[from], points[to]);
        let away = |at: &usize| kurbo::ParamCurveNearest::nearest(&chord, points[*at], 1e-6).distance_sq;
        let furthest = (from + 1..to).max_by(|a, b| away(a).total_cmp(&away(b)));
        if let Some(at) = furthest.filter(|at| away(at) > STRAYS * STRAYS) {
            keep[at] = true;
            open.extend([[from, at], [at, to]]);
        }
    }
    points.iter().zip(keep).filter(|(_, keep)| *keep).map(|(p, _)| on_grid(*p)).collect()
}

/// The step of the picture's grid nearest to a point, y down.
fn on_grid(point: Point) -> [i64; 2] {
    [point.x, -point.y].map(|mm| (mm / GRID).round() as i64)
}

/// The section of the proof sheet.
pub(super) fn section(ways: &[HeadWay], unit: Unit) -> String {
    if ways.is_empty() {
        return String::new();
    }
    let scale = drawing::scale_for(ways.iter().map(|way| way.size), SHEET_ROOM);
    let mut out = format!(
        "<section id=\"ways\"><h2>The head's way</h2>\n<p>Drawn at 1 : {} on paper, to half a millimetre. Whole lines \
         are drawn or cut, in a colour for each tool; fine broken ones are the idle way with the tool up. Times are \
         those of the profile's speeds, without speeding up and slowing down: a machine takes longer than that.</p>\n",
        trimmed(scale, 1)
    );
    for way in ways {
        out.push_str(&article(way, scale, unit));
    }
    let _ = writeln!(out, "<script>{SCRIPT}</script></section>");
    out
}

fn article(way: &HeadWay, scale: f64, unit: Unit) -> String {
    let mut out =
        format!("<article class=\"way\"><h3>{} <small>for {}</small></h3>\n", name(&way.file), name(&way.device));
    let row = |tool: String, work: &Work| {
        vec![
            tool,
            distance(work.worked, unit),
            distance(work.travelled, unit),
            work.lifts.to_string(),
            work.seconds.map_or(UNKNOWN.into(), about),
        ]
    };
    let keyed = |tool: &str| {
        let class = way.stretches.iter().find(|stretch| stretch.tool == tool).map_or("pen-1", |stretch| stretch.class);
        format!("<span class=\"key {class}\"></span> {}", name(tool))
    };
    let mut rows: Vec<Vec<String>> = way.estimate.tools.iter().map(|(tool, work)| row(keyed(tool), work)).collect();
    if rows.len() > 1 {
        rows.push(row("all".into(), &way.estimate.whole));
    }
    let columns = ["tool", "draws or cuts", "idle", "goes down", "takes about"];
    out.push_str(&table("What the job takes.", &columns, &rows));
    if !way.cautions.is_empty() {
        let _ = writeln!(out, "<p class=\"caution\">{}</p>", escape(&way.cautions.join(" ")));
    }
    let title = format!("The head's way through {}", way.file);
    let bounds = Rect::new(0.0, 0.0, way.size.width, way.size.height);
    let _ = write!(
        out,
        "<figure>{}<figcaption>{}</figcaption></figure>\n\
         <p class=\"player\" hidden><button type=\"button\">Play</button>\n\
         <label>place <input type=\"range\" min=\"0\" max=\"1000\" step=\"any\" value=\"0\"></label>\n\
         <label>speed <select><option value=\"1\">as the machine</option><option value=\"10\" selected>10 times</option>\
         <option value=\"60\">60 times</option><option value=\"300\">300 times</option></select></label>\n\
         <output aria-live=\"off\"></output></p></article>\n",
        drawing::frame(bounds, &picture(way, scale), scale, unit, &title),
        escape(&title)
    );
    out
}

/// The paths of the picture: of each stretch the idle way and the work.
fn picture(way: &HeadWay, scale: f64) -> String {
    let (w, h) = (trimmed(way.size.width, 2), trimmed(way.size.height, 2));
    let mut out = format!("<path class=\"medium\" d=\"M0 0h{w}v-{h}h-{w}z\"/><g transform=\"scale({GRID})\">");
    let mut at = way.zero;
    let (mut idle, mut work) = (String::new(), String::new());
    for (index, stretch) in way.stretches.iter().enumerate() {
        let (mut up, mut down) = (Pen::default(), Pen::default());
        for stroke in &stretch.strokes {
            if at != stroke[0] {
                up.path(&[at, stroke[0]]);
            }
            down.path(stroke);
            at = stroke[stroke.len() - 1];
        }
        if index + 1 == way.stretches.len() {
            up.path(&[at, way.zero]);
        }
        let _ = write!(idle, "<path d=\"{}\"/>", up.data);
        let _ = write!(
            work,
            "<path class=\"{}\" data-tool=\"{}\" data-speed=\"{}\" d=\"{}\"/>",
            stretch.class,
            escape(&stretch.tool),
            trimmed(stretch.speed.unwrap_or(SHOWN) / GRID, 3),
            down.data
        );
    }
    let [x, y] = way.zero;
    let _ = write!(
        out,
        "<g class=\"idle\">{idle}</g><g class=\"work\" data-zero=\"{x} {y}\" data-travel=\"{}\" data-lift=\"{}\">{work}</g>\
         <circle class=\"head\" cx=\"{x}\" cy=\"{y}\" r=\"{}\"/></g>",
        trimmed(way.travel_speed / GRID, 3),
        trimmed(way.lift_seconds, 3),
        trimmed(HEAD * scale / GRID, 2)
    );
    out
}

/// Path data in relative steps, which are short.
#[derive(Default)]
struct Pen {
    data: String,
    at: [i64; 2],
}

impl Pen {
    /// A subpath: `m` to its first point, then a step for each point.
    fn path(&mut self, points: &[[i64; 2]]) {
        self.data.push('m');
        for point in points {
            for (axis, (to, from)) in point.iter().zip(self.at).enumerate() {
                let step = to - from;
                if step >= 0 && !(axis == 0 && self.data.ends_with('m')) {
                    self.data.push(' ');
                }
                let _ = write!(self.data, "{step}");
            }
            self.at = *point;
        }
    }
}
