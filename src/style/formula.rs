//! Formulas: read once, worked out for each person, dimension-checked.
//!
//! `(bust girth + bust ease) / 4`, `neck base girth / 5 - 1/4`, `length of Front/armhole + 1 1/2`. Words without an operator
//! between them are one name. A bare number that is added to or compared with a length is in the file's unit; beside `*` or
//! `/` it is a number. A named number never becomes a length.

use crate::diag::{Finding, Result};
use crate::source::Text;
use crate::units::{LONGEST, Unit, scan_length};
use std::ops::Range;

/// A formula with its text, so that every finding points into it.
#[derive(Clone, Debug)]
pub struct Formula {
    source: Text,
    root: Expr,
}

#[derive(Clone, Debug)]
struct Expr {
    span: Range<usize>,
    kind: Kind,
}

#[derive(Clone, Debug)]
enum Kind {
    Literal(f64, Option<Literal>),
    Name(String),
    LengthOf(String, String),
    Negative(Box<Expr>),
    Binary(Op, Box<Expr>, Box<Expr>),
    Call(Function, Vec<Expr>),
}

#[derive(Clone, Copy, Debug, PartialEq)]
enum Literal {
    Unit(Unit),
    Degrees,
}

#[derive(Clone, Copy, Debug, PartialEq)]
enum Op {
    Add,
    Subtract,
    Multiply,
    Divide,
}

#[derive(Clone, Copy, Debug, PartialEq)]
enum Function {
    Least,
    Greatest,
    Root,
    Sine,
    Cosine,
    Tangent,
}

const FUNCTIONS: [(&str, Function); 6] = [
    ("least", Function::Least),
    ("greatest", Function::Greatest),
    ("root", Function::Root),
    ("sin", Function::Sine),
    ("cos", Function::Cosine),
    ("tan", Function::Tangent),
];

/// A value with its dimension.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Quantity {
    /// In mm to the power of the dimension, radians, or plain.
    pub value: f64,
    /// What it is.
    pub dimension: Dimension,
}

/// What a value is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Dimension {
    /// A number written in the formula itself; it becomes a length beside one.
    Bare,
    /// A number.
    Number,
    /// Millimetres to this power, not 0.
    Length(i8),
    /// Radians.
    Angle,
}

impl Dimension {
    fn words(self) -> String {
        match self {
            Self::Bare | Self::Number => "a number".into(),
            Self::Length(1) => "a length".into(),
            Self::Length(2) => "an area".into(),
            Self::Length(power) => format!("a length to the power {power}"),
            Self::Angle => "an angle".into(),
        }
    }
}

impl Quantity {
    /// A length in mm.
    pub fn length(mm: f64) -> Self {
        Self { value: mm, dimension: Dimension::Length(1) }
    }

    /// A named number.
    pub fn number(value: f64) -> Self {
        Self { value, dimension: Dimension::Number }
    }
}

/// What a formula's names stand for.
pub trait Scope {
    /// The value of a name.
    ///
    /// # Errors
    /// The name is unknown, or can't be worked out. A finding without a place is given the name's.
    fn name(&mut self, name: &str) -> Result<Quantity>;

    /// The net length of a piece's edge or inner line, mm.
    ///
    /// # Errors
    /// As [`Scope::name`].
    fn length_of(&mut self, piece: &str, edge: &str) -> Result<f64>;

    /// The unit of bare numbers.
    fn unit(&self) -> Unit;
}

impl Formula {
    /// Reads a formula.
    ///
    /// # Errors
    /// What was expected, with line and column.
    pub fn read(source: Text) -> Result<Self> {
        if source.text.len() > LONGEST_TEXT {
            return Err(source
                .error(format!("this formula is longer than {LONGEST_TEXT} letters"))
                .hint("name parts of it with: value \"…\" \"…\"")
                .into());
        }
        let mut parser = Parser { text: &source.text, at: 0, depth: 0, source: &source };
        let root = parser.sum()?;
        parser.skip_space();
        if parser.at < source.text.len() {
            return Err(parser.expected("+, -, *, / or the end of the formula"));
        }
        Ok(Self { source, root })
    }

    /// The same with its sign changed.
    #[must_use]
    pub fn negated(self) -> Self {
        let span = self.root.span.clone();
        Self { root: Expr { span, kind: Kind::Negative(Box::new(self.root)) }, ..self }
    }

    /// The formula as written.
    pub fn text(&self) -> &str {
        &self.source.text
    }

    /// The text with its place.
    pub fn source(&self) -> &Text {
        &self.source
    }

    /// Works it out as a length, mm; a bare number is in the scope's unit.
    ///
    /// # Errors
    /// Unknown names, mixed dimensions, division by zero, a result that is no length or over 100 m.
    pub fn length(&self, scope: &mut dyn Scope) -> Result<f64> {
        let quantity = self.quantity(scope)?;
        match quantity.dimension {
            Dimension::Length(1) => Ok(quantity.value),
            Dimension::Bare => Ok(quantity.value * scope.unit().mm()),
            other => Err(self.source.error(format!("a length is wanted here, and this is {}", other.words())).into()),
        }
    }

    /// Works it out as a number.
    ///
    /// # Errors
    /// As [`Formula::length`], for a result that is no number.
    pub fn number(&self, scope: &mut dyn Scope) -> Result<f64> {
        let quantity = self.quantity(scope)?;
        match quantity.dimension {
            Dimension::Bare | Dimension::Number => Ok(quantity.value),
            other => Err(self.source.error(format!("a number is wanted here, and this is {}", other.words())).into()),
        }
    }

    /// Works it out as a named value: a number if it was written without quotes, else a bare number is a length.
    ///
    /// # Errors
    /// As [`Formula::length`], without the wish for a length.
    pub fn named(&self, scope: &mut dyn Scope) -> Result<Quantity> {
        let quantity = self.quantity(scope)?;
        Ok(match quantity.dimension {
            Dimension::Bare if self.source.is_number => Quantity::number(quantity.value),
            Dimension::Bare => Quantity::length(quantity.value * scope.unit().mm()),
            _ => quantity,
        })
    }

    /// Works it out as a value of the given dimension; a bare number becomes one.
    ///
    /// # Errors
    /// As [`Formula::length`], for a result of another dimension.
    pub fn alike(&self, scope: &mut dyn Scope, dimension: Dimension) -> Result<Quantity> {
        let quantity = self.quantity(scope)?;
        match (quantity.dimension, dimension) {
            (is, wanted) if is == wanted => Ok(quantity),
            (Dimension::Bare, Dimension::Length(1)) => Ok(Quantity::length(quantity.value * scope.unit().mm())),
            (Dimension::Bare, Dimension::Number) => Ok(Quantity::number(quantity.value)),
            (is, wanted) => {
                let message = format!("{} is wanted here, and this is {}", wanted.words(), is.words());
                Err(self.source.error(message).into())
            }
        }
    }

    fn quantity(&self, scope: &mut dyn Scope) -> Result<Quantity> {
        let quantity = self.evaluate(&self.root, scope)?;
        if !quantity.value.is_finite() || quantity.value.abs() > LONGEST * LONGEST {
            return Err(self
                .source
                .error(format!("this comes to {}", quantity.value))
                .hint("check the numbers")
                .into());
        }
        Ok(quantity)
    }

    fn evaluate(&self, expr: &Expr, scope: &mut dyn Scope) -> Result<Quantity> {
        let placed = |mut finding: Box<Finding>| {
            if finding.snippet.is_none() {
                finding.snippet = self.source.error_at(expr.span.clone(), "").snippet;
            }
            finding
        };
        match &expr.kind {
            Kind::Literal(value, None) => Ok(Quantity { value: *value, dimension: Dimension::Bare }),
            Kind::Literal(value, Some(Literal::Unit(unit))) => Ok(Quantity::length(value * unit.mm())),
            Kind::Literal(value, Some(Literal::Degrees)) => {
                Ok(Quantity { value: value.to_radians(), dimension: Dimension::Angle })
            }
            Kind::Name(name) => scope.name(name).map_err(placed),
            Kind::LengthOf(piece, edge) => scope.length_of(piece, edge).map(Quantity::length).map_err(placed),
            Kind::Negative(inner) => {
                let quantity = self.evaluate(inner, scope)?;
                Ok(Quantity { value: -quantity.value, ..quantity })
            }
            Kind::Binary(op, left, right) => {
                let left = self.evaluate(left, scope)?;
                let right_value = self.evaluate(right, scope)?;
                self.combine(*op, left, right_value, expr, right, scope.unit())
            }
            Kind::Call(function, args) => self.call(*function, args, expr, scope),
        }
    }

    fn combine(
        &self,
        op: Op,
        left: Quantity,
        right: Quantity,
        expr: &Expr,
        right_expr: &Expr,
        unit: Unit,
    ) -> Result<Quantity> {
        match op {
            Op::Add | Op::Subtract => {
                let (left, right) = self.matched(left, right, expr, unit)?;
                let value = if op == Op::Add { left.value + right.value } else { left.value - right.value };
                Ok(Quantity { value, dimension: left.dimension })
            }
            Op::Multiply => self.product(left, right, left.value * right.value, 1, expr),
            Op::Divide => {
                if right.value == 0.0 {
                    let finding = self.source.error_at(right_expr.span.clone(), "this divides by zero");
                    return Err(finding.hint("check the measure or the number below the line").into());
                }
                self.product(left, right, left.value / right.value, -1, expr)
            }
        }
    }

    fn product(&self, left: Quantity, right: Quantity, value: f64, sign: i8, expr: &Expr) -> Result<Quantity> {
        let power = |dimension| match dimension {
            Dimension::Bare | Dimension::Number => Some(0),
            Dimension::Length(power) => Some(power),
            Dimension::Angle => None,
        };
        let dimension = match (left.dimension, right.dimension) {
            (Dimension::Bare, Dimension::Bare) => Dimension::Bare,
            (Dimension::Angle, Dimension::Bare | Dimension::Number) => Dimension::Angle,
            (Dimension::Bare | Dimension::Number, Dimension::Angle) if sign > 0 => Dimension::Angle,
            (a, b) => match (power(a), power(b)) {
                (Some(a), Some(b)) => match a + sign * b {
                    0 => Dimension::Number,
                    power @ -4..=4 => Dimension::Length(power),
                    _ => return Err(self.at(expr, "too many lengths are multiplied here").into()),
                },
                _ => {
                    return Err(self
                        .at(expr, format!("{} and {} don't go together here", a.words(), b.words()))
                        .into());
                }
            },
        };
        Ok(Quantity { value, dimension })
    }

    /// Brings two values to one dimension, where a bare number may become the other's.
    fn matched(&self, a: Quantity, b: Quantity, expr: &Expr, unit: Unit) -> Result<(Quantity, Quantity)> {
        let raise = |bare: Quantity, to: Dimension| match to {
            Dimension::Length(1) => Some(Quantity::length(bare.value * unit.mm())),
            Dimension::Number | Dimension::Bare => Some(Quantity { dimension: to, ..bare }),
            Dimension::Angle | Dimension::Length(_) => None,
        };
        let pair = if a.dimension == b.dimension {
            Some((a, b))
        } else if a.dimension == Dimension::Bare {
            raise(a, b.dimension).map(|a| (a, b))
        } else if b.dimension == Dimension::Bare {
            raise(b, a.dimension).map(|b| (a, b))
        } else {
            None
        };
        pair.ok_or_else(|| {
            let message = format!("{} and {} can't be added or compared", a.dimension.words(), b.dimension.words());
            self.at(expr, message).hint("multiply the number by a length, or write the length with its unit").into()
        })
    }

    fn call(&self, function: Function, args: &[Expr], expr: &Expr, scope: &mut dyn Scope) -> Result<Quantity> {
        let unit = scope.unit();
        let mut values = Vec::with_capacity(args.len());
        for arg in args {
            values.push(self.evaluate(arg, scope)?);
        }
        match (function, values.as_slice()) {
            (Function::Least | Function::Greatest, [first, rest @ ..]) if !rest.is_empty() => {
                let mut best = *first;
                for value in rest {
                    let (a, b) = self.matched(best, *value, expr, unit)?;
                    let take_b = if function == Function::Least { b.value < a.value } else { b.value > a.value };
                    best = if take_b { b } else { a };
                }
                Ok(best)
            }
            (Function::Root, [value]) => {
                let dimension = match value.dimension {
                    Dimension::Length(power) if power % 2 == 0 => Dimension::Length(power / 2),
                    Dimension::Bare | Dimension::Number => value.dimension,
                    _ => return Err(self.at(expr, format!("{} has no root", value.dimension.words())).into()),
                };
                if value.value < 0.0 {
                    return Err(self.at(expr, "the root of something negative").into());
                }
                Ok(Quantity { value: value.value.sqrt(), dimension })
            }
            (Function::Sine | Function::Cosine | Function::Tangent, [angle]) => {
                if angle.dimension != Dimension::Angle {
                    let finding =
                        self.at(expr, format!("an angle is wanted here, and this is {}", angle.dimension.words()));
                    return Err(finding.hint("write it as 20 deg").into());
                }
                Ok(Quantity::number(match function {
                    Function::Sine => angle.value.sin(),
                    Function::Cosine => angle.value.cos(),
                    _ => angle.value.tan(),
                }))
            }
            _ => Err(self
                .at(expr, "this takes another number of values")
                .hint("least(a, b), greatest(a, b), root(a)")
                .into()),
        }
    }

    fn at(&self, expr: &Expr, message: impl Into<String>) -> Finding {
        self.source.error_at(expr.span.clone(), message)
    }
}

/// A formula is no longer than this, so that working it out can't run out of stack.
const LONGEST_TEXT: usize = 2000;

/// Parentheses and signs nest no deeper than this.
const DEEPEST: usize = 64;

struct Parser<'a> {
    text: &'a str,
    at: usize,
    depth: usize,
    source: &'a Text,
}

impl Parser<'_> {
    fn sum(&mut self) -> Result<Expr> {
        let mut left = self.product()?;
        while let Some(op) = self.operator(&[("+", Op::Add), ("-", Op::Subtract), ("−", Op::Subtract)]) {
            let right = self.product()?;
            left = binary(op, left, right);
        }
        Ok(left)
    }

    fn product(&mut self) -> Result<Expr> {
        let mut left = self.factor()?;
        let ops = [("*", Op::Multiply), ("×", Op::Multiply), ("/", Op::Divide), ("÷", Op::Divide)];
        while let Some(op) = self.operator(&ops) {
            let right = self.factor()?;
            left = binary(op, left, right);
        }
        Ok(left)
    }

    fn factor(&mut self) -> Result<Expr> {
        self.skip_space();
        let start = self.at;
        self.depth += 1;
        if self.depth > DEEPEST {
            return Err(self.expected("a simpler formula: this one nests too deep"));
        }
        let expr = if self.take("-") || self.take("−") {
            let inner = self.factor()?;
            Expr { span: start..self.at, kind: Kind::Negative(Box::new(inner)) }
        } else if self.take("(") {
            let inner = self.sum()?;
            self.close()?;
            inner
        } else if self.text[self.at..].starts_with(|c: char| c.is_ascii_digit() || c == '.') {
            self.literal()?
        } else {
            self.name()?
        };
        self.depth -= 1;
        Ok(expr)
    }

    fn literal(&mut self) -> Result<Expr> {
        let start = self.at;
        let scanned = scan_length(&self.text[start..])
            .map_err(|e| self.source.error_at(start + e.at..start + e.at + 1, format!("expected {}", e.expected)))?;
        self.at = start + scanned.end;
        let mut literal = scanned.unit.map(Literal::Unit);
        if literal.is_none() {
            let before = self.at;
            self.skip_space();
            if self.word().is_some_and(|word| matches!(word, "deg" | "degree" | "degrees")) || self.take("°") {
                literal = Some(Literal::Degrees);
                if let Some(word) = self.word().filter(|word| word.starts_with("deg")) {
                    self.at += word.len();
                }
            } else {
                self.at = before;
            }
        }
        Ok(Expr { span: start..self.at, kind: Kind::Literal(scanned.value, literal) })
    }

    fn name(&mut self) -> Result<Expr> {
        let start = self.at;
        let name = self.words();
        if name.is_empty() {
            return Err(self.expected("a number, a name or an opening bracket"));
        }
        if let Some(piece) = name.strip_prefix("length of ") {
            if !self.take("/") {
                return Err(self.expected("a slash and the edge's name, as in: length of Front/armhole"));
            }
            self.skip_space();
            let edge = self.words();
            if edge.is_empty() {
                return Err(self.expected("the edge's name"));
            }
            return Ok(Expr { span: start..self.at, kind: Kind::LengthOf(piece.to_owned(), edge) });
        }
        let end = self.at;
        if let Some((_, function)) = FUNCTIONS.iter().find(|(known, _)| *known == name)
            && self.take("(")
        {
            let mut args = vec![self.sum()?];
            self.skip_space();
            while self.take(",") {
                args.push(self.sum()?);
                self.skip_space();
            }
            self.close()?;
            return Ok(Expr { span: start..self.at, kind: Kind::Call(*function, args) });
        }
        Ok(Expr { span: start..end, kind: Kind::Name(name) })
    }

    /// Words up to the next operator, joined by single spaces.
    fn words(&mut self) -> String {
        let mut name = String::new();
        while let Some(word) = self.word() {
            if !name.is_empty() {
                name.push(' ');
            }
            name.push_str(word);
            self.at += word.len();
            let before = self.at;
            self.skip_space();
            if self.word().is_none() {
                self.at = before;
                break;
            }
        }
        name
    }

    /// The word that starts here: a letter, then letters, digits and apostrophes; behind the first word digits may lead.
    fn word(&self) -> Option<&str> {
        let rest = &self.text[self.at..];
        rest.starts_with(char::is_alphabetic).then(|| {
            let end = rest.find(|c: char| !c.is_alphanumeric() && c != '\'' && c != '’').unwrap_or(rest.len());
            &rest[..end]
        })
    }

    fn operator(&mut self, ops: &[(&str, Op)]) -> Option<Op> {
        self.skip_space();
        ops.iter().find(|(sign, _)| self.text[self.at..].starts_with(sign)).map(|(sign, op)| {
            self.at += sign.len();
            *op
        })
    }

    fn take(&mut self, sign: &str) -> bool {
        let found = self.text[self.at..].starts_with(sign);
        if found {
            self.at += sign.len();
        }
        found
    }

    fn close(&mut self) -> Result<()> {
        self.skip_space();
        if self.take(")") { Ok(()) } else { Err(self.expected("a closing bracket")) }
    }

    fn skip_space(&mut self) {
        let rest = &self.text[self.at..];
        self.at += rest.len() - rest.trim_start().len();
    }

    fn expected(&self, what: &str) -> Box<Finding> {
        let found = self.text[self.at..].chars().next().map_or("the end".to_owned(), |c| format!("\"{c}\""));
        self.source.error_at(self.at..self.at + 1, format!("expected {what}; found {found}")).into()
    }
}

fn binary(op: Op, left: Expr, right: Expr) -> Expr {
    Expr { span: left.span.start..right.span.end, kind: Kind::Binary(op, Box::new(left), Box::new(right)) }
}
