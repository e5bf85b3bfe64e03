//! SVG read into bare paths: the static drawing part of SVG 1.1, with units, viewports, transforms and `use`.

mod markup;
mod shapes;
mod values;

use super::path_data::numbers;
use super::{BarePath, DEEPEST, Drawing, Gathered, NamedDrawing, PathName, check_size};
use crate::diag::{Finding, Result, Snippet};
use kurbo::{Affine, BezPath, Point, Vec2};
use roxmltree::{Attribute, Node};
use std::collections::HashMap;

/// Millimetres in a user unit (a CSS pixel) where nothing else is said: 96 to the inch (CSS Values 3, section 6.2).
const PIXEL: f64 = crate::units::INCH / 96.0;
/// More elements than this are not visited, `use` counted each time.
const MOST_ELEMENTS: usize = 1_000_000;

/// What an SVG file draws, in millimetres, y up from the lower left corner of its page.
///
/// Layers are the ids of the nearest groups. Lines that are neither stroked nor filled, hidden things and definitions
/// draw nothing. Text, pictures, clips and the like are left out with a warning.
///
/// # Errors
/// Not UTF-8, not well-formed, not SVG; numbers, transforms, path data or units that can't be read, with their place;
/// more or deeper than any drawing needs.
pub fn svg(bytes: &[u8], file: &str) -> Result<(Drawing, Vec<Finding>)> {
    read(bytes, file, false).map(|(named, findings)| (named.drawing, findings))
}

/// [`svg()`], with what its paths are called, and its writing.
///
/// # Errors
/// As [`svg()`].
pub fn named_svg(bytes: &[u8], file: &str) -> Result<(NamedDrawing, Vec<Finding>)> {
    read(bytes, file, true)
}

fn read(bytes: &[u8], file: &str, naming: bool) -> Result<(NamedDrawing, Vec<Finding>)> {
    check_size(bytes, file)?;
    let text = std::str::from_utf8(bytes.strip_prefix(b"\xef\xbb\xbf").unwrap_or(bytes)).map_err(|_| {
        Finding::error("the file is not UTF-8 text").hint("save it as SVG in UTF-8, not compressed").in_file(file)
    })?;
    let document = markup::parse(text, file)?;
    let root = document.root_element();
    if root.tag_name().name() != "svg" {
        let tag = root.tag_name().name();
        return Err(Box::new(
            Finding::error(format!("the file holds <{tag}>, not <svg>")).hint("name an SVG file").in_file(file),
        ));
    }
    let mut reader = Reader {
        text,
        gathered: Gathered::new(file),
        ids: document.descendants().filter_map(|node| Some((node.attribute("id")?, node))).collect(),
        // A style sheet may stroke or fill what the attributes leave blank; its rules are not read.
        styled: document.descendants().any(|node| node.has_tag_name("style") || node.tag_name().name() == "style"),
        visited: 0,
    };
    reader.gathered.naming = naming;
    let (page, mut findings) = reader.page(&root)?;
    let ink = Ink { stroked: reader.styled, filled: true, visible: true };
    let place =
        Place { to_page: page.to_millimetres, viewport: page.viewport, layer: "", around: Vec::new(), ink, depth: 0 };
    for child in root.children() {
        reader.node(&child, &place)?;
    }
    findings.extend(reader.gathered.warnings());
    let paths: Vec<BarePath> = reader.gathered.paths;
    let drawing = Drawing { width: page.width, height: page.height, paths };
    let (names, notes) = (reader.gathered.names, reader.gathered.notes);
    Ok((NamedDrawing { drawing, names, notes, to_scale: to_scale(&root) }, findings))
}

/// Whether the page's width is in a unit of length. A bare number or `px` is 96, 90 or 72 to the inch: programs differ.
fn to_scale(root: &Node<'_, '_>) -> bool {
    let width = root.attribute("width").unwrap_or("").trim();
    ["mm", "cm", "in", "pt", "pc"].iter().any(|unit| width.ends_with(unit))
}

/// A label that drawing programs write beside an id.
fn label<'a>(node: &Node<'a, '_>) -> Option<&'a str> {
    node.attributes().find(|a| a.name() == "label" && a.namespace().is_some()).map(|a| a.value())
}

const CONTAINERS: [&str; 5] = ["g", "a", "switch", "svg", "use"];
const SHAPES: [&str; 7] = ["path", "line", "polyline", "polygon", "rect", "circle", "ellipse"];

struct Reader<'a, 'i> {
    text: &'i str,
    gathered: Gathered<'a>,
    ids: HashMap<&'a str, Node<'a, 'i>>,
    styled: bool,
    visited: usize,
}

/// What an element inherits.
#[derive(Clone)]
struct Place<'a> {
    /// From user space to the page, mm, y up.
    to_page: Affine,
    /// The viewport's size in user units, which percentages are of.
    viewport: Vec2,
    layer: &'a str,
    /// Classes, labels and ids of the groups around, from the outside inward; only where names are gathered.
    around: Vec<&'a str>,
    ink: Ink,
    depth: usize,
}

/// What makes a line visible.
#[derive(Clone, Copy)]
struct Ink {
    stroked: bool,
    filled: bool,
    visible: bool,
}

struct Page {
    width: Option<f64>,
    height: Option<f64>,
    /// Its size in user units.
    viewport: Vec2,
    /// From user space to millimetres, y up.
    to_millimetres: Affine,
}

impl<'a, 'i: 'a> Reader<'a, 'i> {
    /// The page's size and how user space lies on it. A side that is missing or a percentage is taken from the view box at
    /// 96 units to the inch.
    fn page(&self, root: &Node<'a, 'i>) -> Result<(Page, Vec<Finding>)> {
        let mut findings = Vec::new();
        let view = self.view_box(root)?;
        let mut side = |name: &str, boxed: Option<f64>| -> Result<Option<f64>> {
            let attribute = root.attribute_node(name).filter(|a| !a.value().trim().ends_with('%'));
            if let Some(attribute) = attribute {
                let mm = self.length(&attribute, 0.0)? * PIXEL;
                return if mm > 0.0 { Ok(Some(mm)) } else { Err(self.wrong(&attribute, "a length above 0")) };
            }
            if findings.is_empty() {
                findings.push(
                    Finding::warning("the page has no size of its own; it was read at 96 units to the inch")
                        .hint("measure the check square, or save the file with its width and height in millimetres")
                        .in_file(self.gathered.file),
                );
            }
            Ok(boxed.map(|units| units * PIXEL))
        };
        let width = side("width", view.map(|v| v.size.x))?;
        let height = side("height", view.map(|v| v.size.y))?;
        let up = Affine::new([1.0, 0.0, 0.0, -1.0, 0.0, height.unwrap_or(0.0)]);
        let (viewport, inside) = match (view, width, height) {
            (Some(view), Some(width), Some(height)) => (view.size, self.fit(root, view, Vec2::new(width, height))?),
            _ => (Vec2::new(width.unwrap_or(0.0), height.unwrap_or(0.0)) / PIXEL, Affine::scale(PIXEL)),
        };
        Ok((Page { width, height, viewport, to_millimetres: up * inside }, findings))
    }

    fn view_box(&self, node: &Node<'a, 'i>) -> Result<Option<ViewBox>> {
        let Some(attribute) = node.attribute_node("viewBox") else { return Ok(None) };
        match numbers(attribute.value()).ok().as_deref() {
            Some(&[x, y, width, height]) if width > 0.0 && height > 0.0 => {
                Ok(Some(ViewBox { corner: Vec2::new(x, y), size: Vec2::new(width, height) }))
            }
            _ => Err(self.wrong(&attribute, "four numbers, the last two above 0")),
        }
    }

    /// How a view box lies in a viewport of that size (SVG 1.1, chapter 7.8).
    fn fit(&self, node: &Node<'a, 'i>, view: ViewBox, viewport: Vec2) -> Result<Affine> {
        let attribute = node.attribute_node("preserveAspectRatio");
        let mut words = attribute.map_or("", |a| a.value()).split_ascii_whitespace().filter(|&word| word != "defer");
        let align = words.next().unwrap_or("xMidYMid");
        let slice = words.next() == Some("slice");
        let (sx, sy) = (viewport.x / view.size.x, viewport.y / view.size.y);
        if align == "none" {
            return Ok(Affine::scale_non_uniform(sx, sy) * Affine::translate(-view.corner));
        }
        let share = |word: &str| match word {
            "Min" => Some(0.0),
            "Mid" => Some(0.5),
            "Max" => Some(1.0),
            _ => None,
        };
        let shares = (|| {
            let rest = align.strip_prefix('x')?;
            let (x, y) = (rest.get(..3)?, rest.get(3..)?.strip_prefix('Y')?);
            Some(Vec2::new(share(x)?, share(y)?))
        })();
        let (Some(shares), scale) = (shares, if slice { sx.max(sy) } else { sx.min(sy) }) else {
            let attribute = attribute.expect("the default fits");
            return Err(self.wrong(&attribute, "none or a pair such as xMidYMid"));
        };
        let spare = viewport - view.size * scale;
        let offset = Vec2::new(spare.x * shares.x, spare.y * shares.y);
        Ok(Affine::translate(offset) * Affine::scale(scale) * Affine::translate(-view.corner))
    }

    fn node(&mut self, node: &Node<'a, 'i>, outer: &Place<'a>) -> Result<()> {
        let ours = matches!(node.tag_name().namespace(), None | Some("http://www.w3.org/2000/svg"));
        if !node.is_element() || !ours {
            return Ok(());
        }
        self.visited += 1;
        if self.visited > MOST_ELEMENTS || outer.depth > DEEPEST {
            let message = format!("the drawing nests deeper than {DEEPEST} or repeats itself without end");
            return Err(self.gathered.refused(&message, "ungroup it in the program that drew it"));
        }
        let tag = node.tag_name().name();
        match tag {
            "text" if self.gathered.naming => return self.writing(node, outer),
            "text" | "image" | "foreignObject" => {
                self.gathered.leave_out(&format!("<{tag}>"));
                return Ok(());
            }
            tag if CONTAINERS.contains(&tag) || SHAPES.contains(&tag) => {}
            // Definitions, descriptions and whatever else draws nothing where it stands.
            _ => return Ok(()),
        }
        let mut place = outer.clone();
        place.depth += 1;
        if property(node, "display") == Some("none") {
            return Ok(());
        }
        match property(node, "visibility") {
            Some("hidden" | "collapse") => place.ink.visible = false,
            Some("visible") => place.ink.visible = true,
            _ => {}
        }
        for (name, ink) in [("stroke", &mut place.ink.stroked), ("fill", &mut place.ink.filled)] {
            match property(node, name) {
                None | Some("inherit") => {}
                Some(paint) => *ink = paint != "none",
            }
        }
        if property(node, "clip-path").or_else(|| property(node, "mask")).is_some_and(|value| value != "none") {
            self.gathered.leave_out("clips and masks: what they hide is drawn");
        }
        if let Some(attribute) = node.attribute_node("transform") {
            let transform = values::transform(attribute.value())
                .ok_or_else(|| self.wrong(&attribute, "transforms such as translate(10 20) or scale(2)"))?;
            place.to_page *= transform;
        }
        match tag {
            "g" | "a" => {
                if tag == "g" {
                    place.layer = node.attribute("id").unwrap_or(place.layer);
                }
                if self.gathered.naming {
                    place.around.extend(node.attribute("id"));
                    place.around.extend(label(node));
                    place.around.extend(node.attribute("class"));
                }
                self.children(node, &place)
            }
            // The first child that a viewer understands; what it asks for is not looked at.
            "switch" => node.children().find(Node::is_element).map_or(Ok(()), |child| self.node(&child, &place)),
            "svg" => {
                self.enter_viewport(node, node, &mut place)?;
                self.children(node, &place)
            }
            "use" => self.used(node, place),
            _ => self.shape(node, &place),
        }
    }

    fn children(&mut self, node: &Node<'a, 'i>, place: &Place<'a>) -> Result<()> {
        node.children().try_for_each(|child| self.node(&child, place))
    }

    /// A nested viewport: placed and sized by `sized`, its view box on `boxed`.
    fn enter_viewport(&self, boxed: &Node<'a, 'i>, sized: &Node<'a, 'i>, place: &mut Place<'a>) -> Result<()> {
        let get = |name: &str, base: f64, or: f64| match sized.attribute_node(name) {
            Some(attribute) => self.length(&attribute, base),
            None => Ok(or),
        };
        let view = place.viewport;
        let corner = Vec2::new(get("x", view.x, 0.0)?, get("y", view.y, 0.0)?);
        let size = Vec2::new(get("width", view.x, view.x)?, get("height", view.y, view.y)?);
        place.to_page *= Affine::translate(corner);
        if let Some(view) = self.view_box(boxed)? {
            place.to_page *= self.fit(boxed, view, size)?;
            place.viewport = view.size;
        } else {
            place.viewport = size;
        }
        Ok(())
    }

    /// A copy of another element (SVG 1.1, chapter 5.6).
    fn used(&mut self, node: &Node<'a, 'i>, mut place: Place<'a>) -> Result<()> {
        let link = node.attribute("href").or_else(|| node.attribute(("http://www.w3.org/1999/xlink", "href")));
        let target = link.and_then(|link| self.ids.get(link.trim().strip_prefix('#')?).copied());
        let Some(target) = target else {
            self.gathered.leave_out("<use> of something that is not in the file");
            return Ok(());
        };
        if matches!(target.tag_name().name(), "symbol" | "svg") {
            self.enter_viewport(&target, node, &mut place)?;
            return self.children(&target, &place);
        }
        let get = |name: &str, base: f64| node.attribute_node(name).map_or(Ok(0.0), |a| self.length(&a, base));
        place.to_page *= Affine::translate((get("x", place.viewport.x)?, get("y", place.viewport.y)?));
        self.node(&target, &place)
    }

    fn shape(&mut self, node: &Node<'a, 'i>, place: &Place<'a>) -> Result<()> {
        if !place.ink.visible {
            return Ok(());
        }
        if !place.ink.stroked && !place.ink.filled {
            self.gathered.leave_out("lines without stroke and fill");
            return Ok(());
        }
        let path: BezPath = self.outline(node, place)?;
        self.name(node, place);
        self.gathered.add(place.layer, &(place.to_page * path))
    }

    /// Sets what the next path is called.
    fn name(&mut self, node: &Node<'a, 'i>, place: &Place<'a>) {
        if self.gathered.naming {
            let title = || node.children().find(|child| child.tag_name().name() == "title").and_then(|t| t.text());
            let own = label(node).or_else(|| node.attribute("id")).or_else(title).unwrap_or("").trim();
            let around = node.attribute("class").into_iter().chain(place.around.iter().rev().copied());
            self.gathered.name = PathName { own: own.into(), around: around.map(str::to_owned).collect(), block: 0 };
        }
    }

    /// A text with its place: what it says, in one line.
    fn writing(&mut self, node: &Node<'a, 'i>, place: &Place<'a>) -> Result<()> {
        if property(node, "display") == Some("none") {
            return Ok(());
        }
        let own = match node.attribute_node("transform") {
            Some(attribute) => values::transform(attribute.value())
                .ok_or_else(|| self.wrong(&attribute, "transforms such as translate(10 20) or scale(2)"))?,
            None => Affine::IDENTITY,
        };
        // The first place that is told, here or by a part of the text.
        let told = |name: &str| {
            let first = |n: Node<'a, 'i>| numbers(n.attribute(name)?).ok()?.first().copied();
            node.descendants().find_map(first).unwrap_or(0.0)
        };
        let at = place.to_page * own * Point::new(told("x"), told("y"));
        let text: Vec<&str> = node.descendants().filter(Node::is_text).filter_map(|n| n.text()).collect();
        let text = text.join(" ").split_whitespace().collect::<Vec<_>>().join(" ");
        self.name(node, place);
        if !text.is_empty() && at.is_finite() {
            self.gathered.note(at, &text)?;
        }
        Ok(())
    }

    /// A length in user units; `base` is what percentages are of.
    fn length(&self, attribute: &Attribute<'a, 'i>, base: f64) -> Result<f64> {
        values::length(attribute.value(), base)
            .ok_or_else(|| self.wrong(attribute, "a number with px, mm, cm, in, pt, pc, % or no unit"))
    }

    /// An error that points at an attribute's value.
    fn wrong(&self, attribute: &Attribute<'a, 'i>, expected: &str) -> Box<Finding> {
        self.wrong_at(attribute, 0, expected)
    }

    /// An error that points into an attribute's value, `at` bytes from its start.
    fn wrong_at(&self, attribute: &Attribute<'a, 'i>, at: usize, expected: &str) -> Box<Finding> {
        let range = attribute.range_value();
        let start = (range.start + at).min(range.end);
        let span = start..range.end.min(start + 20).max(start);
        let snippet = Snippet { file: self.gathered.file.into(), text: self.text.into(), span };
        Box::new(
            Finding::error(format!("{} can't be read: expected {expected}", attribute.name()))
                .hint("correct it, or save the file again from the program that drew it")
                .at(snippet),
        )
    }
}

/// A presentation property: from the `style` attribute, which wins, or the attribute of its name.
fn property<'a>(node: &Node<'a, '_>, name: &str) -> Option<&'a str> {
    node.attribute("style")
        .and_then(|style| values::declared(style, name))
        .or_else(|| node.attribute(name))
        .map(str::trim)
}

#[derive(Clone, Copy)]
struct ViewBox {
    corner: Vec2,
    size: Vec2,
}

/// Largest stretch of a transform, at least a billionth.
fn stretch(affine: Affine) -> f64 {
    let [a, b, c, d, ..] = affine.as_coeffs();
    (Point::new(a, b).to_vec2().hypot()).max(Point::new(c, d).to_vec2().hypot()).max(1e-9)
}
