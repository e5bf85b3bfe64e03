//! What the user says of a drawing's pieces, in a small file beside it: `*.names.kdl`.

use super::{Account, words};
use crate::diag::{Finding, Result, nearest};
use crate::piece::{Finish, Piece, PieceSet};
use crate::read::PathName;
use crate::source::{self, Node};
use crate::units::{LONGEST, Unit};

/// What a file of names says.
#[derive(Clone, Debug)]
pub struct Names {
    /// The unit of its lengths, and of reports.
    pub unit: Unit,
    /// What the pieces make; the drawing's own name where it is empty.
    pub style: String,
    /// Whom they are for.
    pub person: String,
    /// Allowance of every edge that has none from a cutting line and of which nothing else is said, mm.
    pub allow: Option<f64>,
    /// What is said of single pieces.
    pub pieces: Vec<PieceNames>,
}

/// What is said of one piece.
#[derive(Clone, Debug)]
pub struct PieceNames {
    /// Its name from now on.
    pub name: String,
    /// Its id, block or text in the drawing; or else its number.
    pub id: Option<String>,
    /// Its number in what `oaktag read` prints.
    pub number: Option<usize>,
    /// How many to cut.
    pub count: Option<u32>,
    /// Whether every second copy is a mirror image.
    pub mirrored: Option<bool>,
    /// The cloth.
    pub cloth: Option<String>,
    /// Allowance of its edges, mm.
    pub allow: Option<f64>,
    /// What is said of single edges.
    pub edges: Vec<EdgeNames>,
}

/// What is said of one edge.
#[derive(Clone, Debug)]
pub struct EdgeNames {
    /// Its name from now on.
    pub name: String,
    /// Its number in what `oaktag read` prints.
    pub number: usize,
    /// Its allowance, mm.
    pub allow: Option<f64>,
    /// Whether it lies on the fold.
    pub fold: Option<bool>,
    /// The finish of the corner at its end.
    pub corner: Option<Finish>,
}

impl Default for Names {
    fn default() -> Self {
        Self { unit: Unit::Millimetre, style: String::new(), person: String::new(), allow: None, pieces: Vec::new() }
    }
}

/// Reads a file of names.
///
/// # Errors
/// Bad syntax, an unknown word, a value that is no length or number, with its place.
pub fn read(text: &str, file: &str) -> Result<Names> {
    let document = source::read(text, file)?;
    let node = document.only("names")?;
    node.only_takes(0, &[])?;
    let mut names = Names::default();
    // The unit first: every length depends on it.
    for child in node.children().filter(|child| child.name() == "unit") {
        child.only_takes(1, &[])?;
        names.unit =
            Unit::from_name(child.title()?).ok_or_else(|| child.error("a unit is \"in\", \"cm\" or \"mm\""))?;
    }
    for child in node.children() {
        match child.name() {
            "unit" => {}
            "style" | "for" => {
                child.only_takes(1, &[])?;
                let text = child.title()?.to_owned();
                if child.name() == "style" { names.style = text } else { names.person = text }
            }
            "allow" => {
                child.only_takes(1, &[])?;
                let value = child.args().next().ok_or_else(|| child.error("how wide?"))?;
                names.allow = Some(width(value.length(names.unit)?, child)?);
            }
            "piece" => names.pieces.push(piece(child, names.unit)?),
            _ => return Err(child.unknown(&["unit", "style", "for", "allow", "piece"]).into()),
        }
    }
    Ok(names)
}

fn width(mm: f64, node: Node<'_>) -> Result<f64> {
    if (0.0..=LONGEST).contains(&mm) { Ok(mm) } else { Err(node.error("an allowance is 0 or more").into()) }
}

fn allowance(node: Node<'_>, unit: Unit) -> Result<Option<f64>> {
    node.prop("allow").map(|value| width(value.length(unit)?, node)).transpose()
}

fn number(node: Node<'_>) -> Result<Option<usize>> {
    let Some(value) = node.prop("number") else { return Ok(None) };
    let number = value.number()?;
    if !(1.0..=1e6).contains(&number) || number.fract() != 0.0 {
        return Err(value.error("a number counts from 1").into());
    }
    Ok(Some(number as usize))
}

fn piece(node: Node<'_>, unit: Unit) -> Result<PieceNames> {
    node.only_takes(1, &["id", "number", "count", "mirrored", "cloth", "allow"])?;
    let text = |name: &str| node.prop(name).map(|v| v.string().map(str::to_owned)).transpose();
    let count = match node.prop("count") {
        None => None,
        Some(value) => match value.number()? {
            n if (1.0..=999.0).contains(&n) && n.fract() == 0.0 => Some(n as u32),
            _ => return Err(value.error("how many to cut: 1 or more").into()),
        },
    };
    let mut edges = Vec::new();
    for child in node.children() {
        if child.name() != "edge" {
            return Err(child.unknown(&["edge"]).into());
        }
        child.only_takes(1, &["number", "allow", "fold", "corner"])?;
        let number = number(child)?
            .ok_or_else(|| child.error("which edge?").hint("write number=… as `oaktag read` prints it"))?;
        let fold = child.prop("fold").map(|v| v.flag()).transpose()?;
        let allow = allowance(child, unit)?;
        if fold == Some(true) && allow.is_some() {
            return Err(child.error("an edge on the fold has no allowance").hint("leave out one of the two").into());
        }
        let corner = child
            .prop("corner")
            .map(|value| {
                finish(value.string()?).ok_or_else(|| {
                    Box::new(value.error("no such finish").hint("known: mitre, bevel, round, square, step, fold-back"))
                })
            })
            .transpose()?;
        edges.push(EdgeNames { name: child.title()?.to_owned(), number, allow, fold, corner });
    }
    Ok(PieceNames {
        name: node.title()?.to_owned(),
        id: text("id")?,
        number: number(node)?,
        count,
        mirrored: node.prop("mirrored").map(|v| v.flag()).transpose()?,
        cloth: text("cloth")?,
        allow: allowance(node, unit)?,
        edges,
    })
}

fn finish(word: &str) -> Option<Finish> {
    serde_json::from_value(serde_json::Value::String(word.into())).ok()
}

/// Gives pieces and edges the names that the user says, or those of the drawing.
///
/// # Errors
/// Names for a piece or edge that is not there, two of one name.
pub fn named(
    found: Vec<(Piece, Account, PathName)>,
    names: &Names,
    findings: &mut Vec<Finding>,
) -> std::result::Result<(PieceSet, Vec<Account>), Finding> {
    let (mut pieces, mut accounts, mut owns) = (Vec::new(), Vec::new(), Vec::new());
    for (index, (mut piece, account, name)) in found.into_iter().enumerate() {
        let own = if words::is_plain(&name.own) { words::block(&name).unwrap_or("") } else { &name.own };
        let own = own.split_whitespace().collect::<Vec<_>>().join(" ");
        let own: String = own.chars().take(80).collect();
        let base = if own.is_empty() { format!("Piece {}", index + 1) } else { own.replace('/', " ") };
        let taken = |name: &str, pieces: &[Piece]| pieces.iter().any(|other| other.name == name);
        let mut unique = base.clone();
        let mut number = 2;
        while taken(&unique, &pieces) {
            unique = format!("{base} {number}");
            number += 1;
        }
        piece.name = unique;
        owns.push([name.own, piece.name.clone()]);
        pieces.push(piece);
        accounts.push(account);
    }
    let mut said = vec![false; pieces.len()];
    for wanted in &names.pieces {
        let index = match (&wanted.id, wanted.number) {
            (Some(id), _) => owns.iter().position(|own| own.contains(id)),
            (None, Some(number)) => (number <= pieces.len()).then(|| number - 1),
            (None, None) => owns.iter().position(|own| own.contains(&wanted.name)),
        };
        let Some(index) = index else {
            let text = format!("the file of names says \"{}\", and no such piece was found", wanted.name);
            let id = wanted.id.as_deref().unwrap_or(&wanted.name);
            let hint = match nearest(id, owns.iter().flatten().map(String::as_str)) {
                Some(near) => format!("did you mean id=\"{near}\"?"),
                None => "give its number, as `oaktag read` prints it".into(),
            };
            return Err(Finding::error(text).hint(hint));
        };
        if std::mem::replace(&mut said[index], true) {
            return Err(Finding::error(format!("\"{}\" names a piece that has a name already", wanted.name)));
        }
        apply(&mut pieces[index], wanted, names.allow)?;
    }
    for (piece, _) in pieces.iter_mut().zip(&said).filter(|(_, said)| !**said) {
        widths(piece, names.allow, &[]);
    }
    for (index, piece) in pieces.iter().enumerate() {
        if pieces[..index].iter().any(|other| other.name == piece.name) {
            return Err(Finding::error("two pieces have this name").piece(&piece.name));
        }
        if piece.edges.iter().all(|edge| edge.allowance == 0.0) {
            let hint = "say allow \"5/8\" in the file of names, if it was drawn without";
            findings.push(Finding::warning("no edge has an allowance").piece(&piece.name).hint(hint));
        }
    }
    let set = PieceSet {
        style: String::new(),
        person: names.person.clone(),
        unit: names.unit,
        taken: String::new(),
        choices: Vec::new(),
        notions: Vec::new(),
        sewing: Vec::new(),
        toile: String::new(),
        pieces,
        joins: Vec::new(),
    };
    Ok((set, accounts))
}

fn apply(piece: &mut Piece, wanted: &PieceNames, allow: Option<f64>) -> std::result::Result<(), Finding> {
    piece.name.clone_from(&wanted.name);
    piece.cut.count = wanted.count.unwrap_or(piece.cut.count);
    piece.cut.mirrored = wanted.mirrored.unwrap_or(piece.cut.mirrored);
    if let Some(cloth) = &wanted.cloth {
        piece.cut.cloth.clone_from(cloth);
    }
    for said in &wanted.edges {
        let count = piece.edges.len();
        let Some(edge) = piece.edges.get_mut(said.number - 1) else {
            let text = format!("there is no edge {}, only {count}", said.number);
            return Err(Finding::error(text).piece(&piece.name).hint("`oaktag read` prints them by number"));
        };
        let old = std::mem::replace(&mut edge.name, said.name.clone());
        edge.fold = said.fold.unwrap_or(edge.fold);
        for notch in piece.notches.iter_mut().filter(|notch| notch.edge == old) {
            notch.edge.clone_from(&said.name);
        }
    }
    for (index, edge) in piece.edges.iter().enumerate() {
        if piece.edges[..index].iter().any(|other| other.name == edge.name) {
            return Err(Finding::error("two edges have this name").piece(&piece.name).edge(&edge.name));
        }
    }
    widths(piece, wanted.allow.or(allow), &wanted.edges);
    Ok(())
}

/// Allowances and corners: what is said of an edge, else the drawing's own cutting line, else what is said of all.
fn widths(piece: &mut Piece, allow: Option<f64>, said: &[EdgeNames]) {
    let measured = piece.edges.iter().any(|edge| edge.allowance > 0.0);
    let of = |number: usize| said.iter().find(|edge| edge.number == number);
    for (index, edge) in piece.edges.iter_mut().enumerate() {
        let own = of(index + 1).and_then(|edge| edge.allow);
        edge.allowance = match (own, allow) {
            _ if edge.fold => 0.0,
            (Some(own), _) => own,
            (None, Some(all)) if !measured => all,
            _ => edge.allowance,
        };
    }
    for (index, usual) in Finish::usual(&piece.edges, |_| false).into_iter().enumerate() {
        piece.edges[index].corner = of(index + 1).and_then(|edge| edge.corner).unwrap_or(usual);
    }
}
