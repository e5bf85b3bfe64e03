//! A page's content carried out (ISO 32000-1, 8): paths, their layer, what may be seen of them.

use super::super::{BarePath, MOST_PATHS, MOST_SEGMENTS};
use super::POINT;
use super::objects::{Object, Objects, Tokens};
use kurbo::{Affine, BezPath, Point, Rect, Shape};
use std::collections::BTreeSet;

/// What a page draws, in millimetres of the page.
pub(super) struct Drawn {
    pub paths: Vec<BarePath>,
    /// The part of the page that the sheet is seen through.
    pub clip: Option<Rect>,
    /// How long its content is.
    pub bytes: usize,
}

/// Layers nested deeper, and states saved deeper, are refused.
const DEEPEST: usize = 64;
/// Layers with longer names are refused, bytes.
const LONGEST_NAME: usize = 200;

#[derive(Clone, Copy)]
struct State {
    to_page: Affine,
    clip: Option<Rect>,
    width: f64,
}

pub(super) fn paths(objects: &Objects, page: &Object, hidden: &BTreeSet<u32>) -> Result<Drawn, String> {
    let Some(Object::Stream(_, from, to)) = objects.get(page, "Contents") else {
        return Err("a page has no content".into());
    };
    let properties = objects.get(page, "Resources").and_then(|resources| objects.get(resources, "Properties"));
    let mut tokens = Tokens { bytes: &objects.bytes[..*to], next: *from, left: usize::MAX };
    let mut drawn = Drawn { paths: Vec::new(), clip: None, bytes: to - from };
    let mut state = State { to_page: Affine::scale(POINT), clip: None, width: 1.0 };
    let (mut saved, mut layers): (Vec<State>, Vec<(String, bool)>) = (Vec::new(), Vec::new());
    let (mut path, mut clipping) = (BezPath::new(), false);
    let mut operands: Vec<Object> = Vec::new();
    while let Some(token) = tokens.object(0)? {
        let Object::Word(operator) = token else {
            operands.push(token);
            if operands.len() > 16 {
                return Err("an operator has too many operands".into());
            }
            continue;
        };
        let numbers: Vec<f64> = operands.iter().filter_map(Object::number).collect();
        let p = |i: usize| Point::new(numbers[i], numbers[i + 1]);
        match (operator.as_str(), &numbers[..]) {
            ("q", []) if saved.len() < DEEPEST => saved.push(state),
            ("Q", []) => state = saved.pop().ok_or("Q without q")?,
            ("cm", &[a, b, c, d, e, f]) => state.to_page *= Affine::new([a, b, c, d, e, f]),
            ("w", &[width]) => state.width = width,
            ("J" | "j" | "G" | "d", _) => {}
            ("re", &[x, y, w, h]) => path.extend(Rect::new(x, y, x + w, y + h).path_elements(0.1)),
            ("W", []) => clipping = true,
            ("m", [_, _]) => path.move_to(p(0)),
            ("l" | "c" | "h", _) if path.elements().is_empty() => return Err("a line starts nowhere".into()),
            ("l", [_, _]) => path.line_to(p(0)),
            ("c", [_, _, _, _, _, _]) => path.curve_to(p(0), p(2), p(4)),
            ("h", []) => path.close_path(),
            ("n", []) => {
                let window = (state.to_page * std::mem::take(&mut path)).bounding_box();
                if std::mem::take(&mut clipping) {
                    let clip = state.clip.map_or(window, |clip| clip.intersect(window));
                    state.clip = Some(clip);
                    drawn.clip = Some(clip);
                }
            }
            ("S", []) => {
                let path = state.to_page * std::mem::take(&mut path);
                let (layer, shown) = layers.last().cloned().unwrap_or_default();
                let bounds = path.bounding_box();
                let seen = state.clip.is_none_or(|clip| clip.inflate(1.0, 1.0).overlaps(bounds));
                let visible = shown || layers.is_empty();
                if visible && seen && state.width > 0.0 {
                    drawn.paths.push(BarePath { layer, path });
                }
            }
            ("BDC", []) => {
                let [Object::Name(_), Object::Name(name)] = &operands[..] else {
                    return Err("a layer has no name".into());
                };
                let number = properties.and_then(|properties| objects.reference(properties, name));
                let layer = properties.and_then(|properties| objects.get(properties, name));
                let title = match layer.and_then(|layer| objects.get(layer, "Name")) {
                    Some(Object::Text(text)) => String::from_utf8_lossy(text).into_owned(),
                    _ => return Err(format!("layer {name:?} is not described")),
                };
                if layers.len() >= DEEPEST || title.len() > LONGEST_NAME {
                    return Err("layers are nested too deep, or named too long".into());
                }
                layers.push((title, !number.is_some_and(|number| hidden.contains(&number))));
            }
            ("EMC", []) => drop(layers.pop().ok_or("EMC without BDC")?),
            (other, _) => return Err(format!("the operator {other:?} with {} numbers", numbers.len())),
        }
        operands.clear();
        if drawn.paths.len() > MOST_PATHS || path.elements().len() > MOST_SEGMENTS {
            return Err(format!("a page has more than {MOST_PATHS} paths or {MOST_SEGMENTS} segments"));
        }
    }
    Ok(drawn)
}
