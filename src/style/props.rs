//! Values of a step's properties.

use super::formula::Formula;
use super::{Along, Heading};
use crate::diag::{Finding, Result};
use crate::source::{Node, Text, with_known};

pub(super) fn first_text(node: Node<'_>) -> Result<Text> {
    node.args().next().ok_or_else(|| node.error("a name is missing here").into()).and_then(|value| value.text())
}

pub(super) fn text(node: Node<'_>, prop: &str) -> Result<Option<Text>> {
    node.prop(prop).map(|value| value.string().and_then(|_| value.text())).transpose()
}

pub(super) fn needed_text(node: Node<'_>, prop: &str) -> Result<Text> {
    text(node, prop)?.ok_or_else(|| missing(node, prop).into())
}

pub(super) fn formula(node: Node<'_>, prop: &str) -> Result<Option<Formula>> {
    node.prop(prop).map(|value| value.text().and_then(Formula::read)).transpose()
}

pub(super) fn needed_formula(node: Node<'_>, prop: &str) -> Result<Formula> {
    formula(node, prop)?.ok_or_else(|| missing(node, prop).into())
}

fn missing(node: Node<'_>, prop: &str) -> Finding {
    node.error(format!("this {} lacks {prop}", node.name())).hint(format!("add {prop}=\"…\""))
}

pub(super) fn flag(node: Node<'_>, prop: &str) -> Result<bool> {
    node.prop(prop).map_or(Ok(false), |value| value.flag())
}

/// A distance under that property's name, or a `part`.
pub(super) fn along(node: Node<'_>, distance: &str) -> Result<Option<Along>> {
    match (formula(node, distance)?, formula(node, "part")?) {
        (Some(distance), None) => Ok(Some(Along::Distance(distance))),
        (None, Some(part)) => Ok(Some(Along::Part(part))),
        (None, None) => Ok(None),
        (Some(_), Some(_)) => Err(how_far(node, distance).into()),
    }
}

pub(super) fn needed_along(node: Node<'_>, distance: &str) -> Result<Along> {
    along(node, distance)?.ok_or_else(|| how_far(node, distance).into())
}

fn how_far(node: Node<'_>, distance: &str) -> Finding {
    node.error(format!("how far along? give {distance}=\"…\" or part=…, one of the two"))
        .hint("a part of 0.5 is half way")
}

pub(super) fn one_of<T: Copy>(word: &Text, known: &[(&str, T)]) -> Result<T> {
    known.iter().find(|(name, _)| *name == word.text).map(|(_, value)| *value).ok_or_else(|| {
        let names: Vec<&str> = known.iter().map(|(name, _)| *name).collect();
        with_known(word.error(format!("\"{}\" is not known here", word.text)), &word.text, &names).into()
    })
}

pub(super) fn heading(node: Node<'_>, prop: &str) -> Result<Option<Heading>> {
    let Some(text) = text(node, prop)? else { return Ok(None) };
    let rest = |prefix: &str| text.text.strip_prefix(prefix).map(|name| renamed(&text, name.trim()));
    let heading = if let Some(edge) = rest("square to ") {
        Heading::SquareTo(edge)
    } else if let Some(edge) = rest("along ") {
        Heading::Along(edge)
    } else if let Some(point) = rest("towards ") {
        Heading::Towards(point)
    } else if text.text == "level" {
        Heading::Level
    } else if text.text == "upright" {
        Heading::Upright
    } else {
        let hint = "known: \"square to EDGE\", \"along EDGE\", \"towards POINT\", \"level\", \"upright\"";
        return Err(text.error("this is no direction").hint(hint).into());
    };
    Ok(Some(heading))
}

/// Another text in the same place.
pub(super) fn renamed(place: &Text, text: &str) -> Text {
    let mut named = place.clone();
    text.clone_into(&mut named.text);
    named
}

pub(super) fn replace_or_push<T>(list: &mut Vec<T>, item: T, name: impl Fn(&T) -> &String) {
    match list.iter().position(|old| name(old) == name(&item)) {
        Some(index) => list[index] = item,
        None => list.push(item),
    }
}
