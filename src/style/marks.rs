//! Marks of a piece that stand on what is drafted: balance lines, buttons and buttonholes; and what a style is sewn with.

use super::formula::Formula;
use super::props::{first_text, flag, formula, needed_formula, needed_text, text};
use crate::diag::Result;
use crate::source::{Node, Text};

/// A line right across a piece, level or upright, by which its level on the body is kept.
#[derive(Clone, Debug)]
pub struct BalanceStep {
    /// Its name, such as `bust line`.
    pub name: Text,
    /// The point that it runs through.
    pub at: Text,
    /// Whether it runs upright, not level.
    pub upright: bool,
    /// Only there where this holds.
    pub when: Option<Formula>,
}

/// A row of buttons or buttonholes, evenly spaced.
#[derive(Clone, Debug)]
pub struct ButtonStep {
    /// The edge or line that the row runs along.
    pub on: Text,
    /// The end to measure from; its start where left out.
    pub from: Option<Text>,
    /// How many.
    pub count: Formula,
    /// From that end to the first.
    pub first: Formula,
    /// From the last to the other end; as the first where left out.
    pub last: Option<Formula>,
    /// How far in from the edge or line.
    pub inward: Option<Formula>,
    /// For buttonholes their length; buttons where left out.
    pub hole: Option<Hole>,
    /// Only there where this holds.
    pub when: Option<Formula>,
}

/// How a buttonhole is cut.
#[derive(Clone, Debug)]
pub struct Hole {
    /// Its length.
    pub long: Formula,
    /// Whether it runs along the row, not across it.
    pub lengthwise: bool,
}

/// `balance "bust line" at="underarm"`.
pub(super) fn balance(node: Node<'_>) -> Result<BalanceStep> {
    node.only_takes(1, &["at", "upright", "when"])?;
    node.title()?;
    Ok(BalanceStep {
        name: first_text(node)?,
        at: needed_text(node, "at")?,
        upright: flag(node, "upright")?,
        when: formula(node, "when")?,
    })
}

/// `buttons 6 on="centre front" from="centre neck" first="5/8" last="3"`, and `buttonholes`, with `long="1"` besides.
pub(super) fn buttons(node: Node<'_>) -> Result<ButtonStep> {
    let holes = node.name() == "buttonholes";
    let mut props = vec!["on", "from", "first", "last", "inward", "when"];
    if holes {
        props.extend(["long", "lengthwise"]);
    }
    node.only_takes(1, &props)?;
    let count = node.args().next().ok_or_else(|| node.error("how many?").hint(format!("write: {} 6", node.name())))?;
    let hole = if holes {
        Some(Hole { long: needed_formula(node, "long")?, lengthwise: flag(node, "lengthwise")? })
    } else {
        None
    };
    Ok(ButtonStep {
        on: needed_text(node, "on")?,
        from: text(node, "from")?,
        count: Formula::read(count.text()?)?,
        first: needed_formula(node, "first")?,
        last: formula(node, "last")?,
        inward: formula(node, "inward")?,
        hole,
        when: formula(node, "when")?,
    })
}

/// `notion "hook and eye" 1`: what to buy besides cloth, with how many or how much in the style's own words.
pub(super) fn notion(node: Node<'_>) -> Result<String> {
    node.only_takes(2, &[])?;
    let name = node.title()?;
    let amount = node.args().nth(1).map(|amount| amount.text()).transpose()?;
    Ok(amount.map_or_else(|| name.to_owned(), |amount| format!("{name}: {}", amount.text)))
}
