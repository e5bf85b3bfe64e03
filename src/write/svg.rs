//! SVG 1.1 at true size: `width` and `height` in millimetres and a `viewBox` of the same numbers, so that one user unit
//! is one millimetre (SVG 1.1, chapter 7.7).

use super::{DECIMALS, layer, line_type, line_width, size_of};
use crate::calibrate::CorrectedJob;
use crate::order::JobStroke;
use crate::role::Role;
use crate::units::{push_trimmed, trimmed};
use kurbo::{Affine, BezPath, PathEl, Point, Shape};
use svg::Document;
use svg::node::element::{Description, Group, Title};
use svg::node::{Blob, Text};

/// A job as an SVG file.
///
/// User space is the page in millimetres, y down; the job's origin is the page's lower left corner. Each pass is a group,
/// and within it each run of strokes of one role is one, so that a machine that goes through the file from top to bottom
/// works in the job's order. Ids are the roles' names, numbered where a role comes back.
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
    let mut document = Document::new()
        .set("version", "1.1")
        .set("width", length(width, pixel))
        .set("height", length(height, pixel))
        .set("viewBox", format!("0 0 {across} {down}"))
        .add(Title::new(clean(&job.title)))
        .add(Description::new().add(Text::new(clean(&format!("{}; {}; {}", stamp.text, job.device, job.medium)))));
    let mut used = [0_usize; Role::ALL.len()];
    for pass in &job.passes {
        let mut tool = Group::new()
            .set("data-tool", clean(&pass.tool))
            .set("fill", "none")
            .set("stroke", "#111111")
            .set("stroke-linecap", "round")
            .set("stroke-linejoin", "round");
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
                    1 => role.name().to_owned(),
                    n => format!("{}-{n}", role.name()),
                }
            };
            let title = job.size(run[0]).map(|size| format!("{}, {}", role.name(), size.name));
            tool = tool.add(group(&id, title, (role, size), run, flip));
        }
        document = document.add(tool);
    }
    format!("<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n{document}\n").into_bytes()
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

fn group(id: &str, title: Option<String>, (role, size): (Role, usize), strokes: &[&JobStroke], flip: Affine) -> Group {
    let mut group = Group::new();
    if let Some(title) = title {
        group = group.add(Title::new(clean(&title)));
    }
    group = group.set("id", id).set("stroke-width", number(line_width(role)));
    let dashes = line_type(role, size);
    if !dashes.is_empty() {
        group = group.set("stroke-dasharray", dashes.iter().map(|&d| number(d)).collect::<Vec<_>>());
    }
    // Paths are most of a file: written straight into one text, they take a fraction of the time of nodes.
    let mut paths = String::new();
    for stroke in strokes {
        if !paths.is_empty() {
            paths.push('\n');
        }
        paths.push_str("<path d=\"");
        path_data(&mut paths, &stroke.path, flip);
        for (name, value) in [("data-edge", &stroke.edge), ("data-piece", &stroke.piece)] {
            if !value.is_empty() {
                paths.push_str("\" ");
                paths.push_str(name);
                paths.push_str("=\"");
                escape(&mut paths, value);
            }
        }
        paths.push_str("\"/>");
    }
    group.add(Blob::new(paths))
}

/// Text as it stands in an attribute.
fn escape(into: &mut String, text: &str) {
    for c in clean(text).chars() {
        match c {
            '&' => into.push_str("&amp;"),
            '<' => into.push_str("&lt;"),
            '>' => into.push_str("&gt;"),
            '"' => into.push_str("&quot;"),
            c => into.push(c),
        }
    }
}

/// Path data in absolute commands. The `svg` crate's own are single precision, which is 0.06 µm too coarse at a metre.
fn path_data(data: &mut String, path: &BezPath, flip: Affine) {
    for element in path {
        let element = flip * element;
        let (letter, points): (char, &[Point]) = match element {
            PathEl::MoveTo(p) => ('M', &[p]),
            PathEl::LineTo(p) => ('L', &[p]),
            PathEl::QuadTo(a, p) => ('Q', &[a, p]),
            PathEl::CurveTo(a, b, p) => ('C', &[a, b, p]),
            PathEl::ClosePath => ('Z', &[]),
        };
        data.push(letter);
        for (i, p) in points.iter().enumerate() {
            if i > 0 {
                data.push(' ');
            }
            push_trimmed(data, p.x, DECIMALS);
            data.push(' ');
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
