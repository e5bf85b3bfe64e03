//! SVG 1.1 at true size: `width` and `height` in millimetres and a `viewBox` of the same numbers, so that one user unit
//! is one millimetre (SVG 1.1, chapter 7.7).

use super::{DECIMALS, layer, line_type, line_width, size_of};
use crate::calibrate::CorrectedJob;
use crate::order::JobStroke;
use crate::role::Role;
use crate::units::{push_trimmed, trimmed};
use kurbo::{Affine, BezPath, PathEl, Point, Shape};
use std::fmt::Display;
use svg::Document;
use svg::node::Text;
use svg::node::element::{Description, Group, Title};

/// A job as an SVG file.
///
/// User space is the page in millimetres, y down; the job's origin is the page's lower left corner. Each run of
/// strokes of one tool and role is a group, so that a machine that goes through the file from top to bottom works in the
/// job's order. Ids are the roles' names, numbered where a role comes back.
pub fn svg(job: &CorrectedJob) -> Vec<u8> {
    page_of(job, None)
}

/// The same on a page in pixels, each `pixel` mm large as shown: for a projector. It shows all at once, so each role is
/// one group of a pass, to be switched off as a whole.
pub fn svg_in_pixels(job: &CorrectedJob, pixel: f64) -> Vec<u8> {
    page_of(job, Some(pixel))
}

fn page_of(job: &CorrectedJob, pixel: Option<f64>) -> Vec<u8> {
    let stamp = job.stamp();
    let job = job.job();
    let (width, height) = page(job.width, job.height, job.passes.iter().flat_map(|pass| &pass.strokes));
    let flip = Affine::new([1.0, 0.0, 0.0, -1.0, 0.0, height]);

    let (across, down) = (number(width), number(height));
    let document = Document::new()
        .set("version", "1.1")
        .set("width", length(width, pixel))
        .set("height", length(height, pixel))
        .set("viewBox", format!("0 0 {across} {down}"))
        .add(Title::new(clean(&job.title)))
        .add(Description::new().add(Text::new(clean(&format!("{}; {}; {}", stamp.text, job.device, job.medium)))));
    let mut file = format!("<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n{}", opening(&document, "svg")).into_bytes();
    let mut used = [0_usize; Role::ALL.len()];
    for pass in &job.passes {
        let kind = |stroke: &JobStroke| (stroke.role, size_of(job, stroke));
        let mut strokes: Vec<&JobStroke> = pass.strokes.iter().collect();
        // What is shown or compared, and not worked through, has one group for each role and size.
        if pixel.is_some() || strokes.iter().any(|stroke| size_of(job, stroke) > 0) {
            strokes.sort_by_key(|stroke| kind(stroke));
        }
        for run in strokes.chunk_by(|a, b| kind(a) == kind(b)) {
            let (role, size) = kind(run[0]);
            let id = if size > 0 {
                layer(role, size)
            } else {
                used[role as usize] += 1;
                match used[role as usize] {
                    1 => role.name().into(),
                    n => format!("{}-{n}", role.name()).into(),
                }
            };
            let title = job.size(run[0]).map(|size| format!("{}, {}", role.name(), size.name));
            let group = group(&id, &pass.tool, title, (role, size));
            file.extend_from_slice(opening(&group, "g").as_bytes());
            for stroke in run {
                path(&mut file, stroke, flip);
            }
            file.extend_from_slice(b"</g>\n");
        }
    }
    file.extend_from_slice(b"</svg>\n");
    file
}

/// An element's beginning, with what is in it so far, and a new line. Paths are most of a file: written straight into it
/// behind their group's beginning, they take a fraction of the time of nodes.
fn opening(element: &impl Display, name: &str) -> String {
    let text = element.to_string();
    match text.strip_suffix("/>") {
        Some(empty) => format!("{empty}>\n"),
        None => text.trim_end_matches(&format!("</{name}>")).into(),
    }
}

/// The page: the job's extents, widened where a corrected stroke reaches beyond them, and rounded up to the grid of the
/// written numbers so that nothing is clipped.
fn page<'a>(width: f64, height: f64, strokes: impl Iterator<Item = &'a JobStroke>) -> (f64, f64) {
    let (mut right, mut top) = (width, height);
    for stroke in strokes.filter(|stroke| !stroke.path.is_empty()) {
        let bounds = stroke.path.bounding_box();
        right = right.max(bounds.x1);
        top = top.max(bounds.y1);
    }
    let up = |value: f64| (value * 1e6).ceil() / 1e6;
    (up(right), up(top))
}

fn group(id: &str, tool: &str, title: Option<String>, (role, size): (Role, usize)) -> Group {
    let mut group = Group::new();
    if let Some(title) = title {
        group = group.add(Title::new(clean(&title)));
    }
    group = group
        .set("id", id)
        .set("data-tool", clean(tool))
        .set("fill", "none")
        .set("stroke", "#111111")
        .set("stroke-width", number(line_width(role)))
        .set("stroke-linecap", "round")
        .set("stroke-linejoin", "round");
    let dashes = line_type(role, size);
    if !dashes.is_empty() {
        group = group.set("stroke-dasharray", dashes.iter().map(|&d| number(d)).collect::<Vec<_>>());
    }
    group
}

fn path(file: &mut Vec<u8>, stroke: &JobStroke, flip: Affine) {
    file.extend_from_slice(b"<path d=\"");
    path_data(file, &stroke.path, flip);
    for (name, value) in [("data-edge", &stroke.edge), ("data-piece", &stroke.piece)] {
        if !value.is_empty() {
            file.extend_from_slice(b"\" ");
            file.extend_from_slice(name.as_bytes());
            file.extend_from_slice(b"=\"");
            escape(file, value);
        }
    }
    file.extend_from_slice(b"\"/>\n");
}

/// Text as it stands in an attribute.
fn escape(into: &mut Vec<u8>, text: &str) {
    let needs_nothing = |c: u8| matches!(c, b' '..=b'~') && !matches!(c, b'&' | b'<' | b'>' | b'"');
    if text.bytes().all(needs_nothing) {
        return into.extend_from_slice(text.as_bytes());
    }
    for c in clean(text).chars() {
        match c {
            '&' => into.extend_from_slice(b"&amp;"),
            '<' => into.extend_from_slice(b"&lt;"),
            '>' => into.extend_from_slice(b"&gt;"),
            '"' => into.extend_from_slice(b"&quot;"),
            c => into.extend_from_slice(c.encode_utf8(&mut [0; 4]).as_bytes()),
        }
    }
}

/// Path data in absolute commands. The `svg` crate's own are single precision, which is 0.06 µm too coarse at a metre.
fn path_data(data: &mut Vec<u8>, path: &BezPath, flip: Affine) {
    for element in path {
        let element = flip * element;
        let (letter, points): (u8, &[Point]) = match element {
            PathEl::MoveTo(p) => (b'M', &[p]),
            PathEl::LineTo(p) => (b'L', &[p]),
            PathEl::QuadTo(a, p) => (b'Q', &[a, p]),
            PathEl::CurveTo(a, b, p) => (b'C', &[a, b, p]),
            PathEl::ClosePath => (b'Z', &[]),
        };
        data.push(letter);
        for (i, p) in points.iter().enumerate() {
            if i > 0 {
                data.push(b' ');
            }
            push_trimmed(data, p.x, DECIMALS);
            data.push(b' ');
            push_trimmed(data, p.y, DECIMALS);
        }
    }
}

/// A side of the page.
fn length(mm: f64, pixel: Option<f64>) -> String {
    match pixel {
        Some(pixel) => format!("{}px", number(mm / pixel)),
        None => format!("{}mm", number(mm)),
    }
}

fn number(value: f64) -> String {
    trimmed(value, DECIMALS)
}

/// Text with the characters that XML 1.0 does not allow (section 2.2) replaced, and line breaks as spaces.
fn clean(text: &str) -> String {
    text.chars()
        .map(|c| match c {
            '\t' | '\n' | '\r' => ' ',
            '\u{0}'..='\u{1f}' | '\u{fffe}' | '\u{ffff}' => '\u{fffd}',
            c => c,
        })
        .collect()
}
