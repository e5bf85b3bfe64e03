//! Formulas: read once, worked out for each person, dimension-checked.
//!
//! `(bust girth + bust ease) / 4`, `neck base girth / 5 - 1/4`, `length of Front/armhole + 1 1/2`. Words without an operator
//! between them are one name. A bare number that is added to or compared with a length is in the file's unit; beside `*` or
//! `/` it is a number. A named number never becomes a length. `bust girth > waist girth + 4` holds or does not, and
//! `if(bust girth > 40, 3, 2 1/2)` is the one or the other.

use crate::diag::{Finding, Result};
use crate::source::Text;
use crate::units::{LONGEST, Unit};
use std::ops::Range;

mod parse;

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
    SlantOf(String, String),
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
    Less,
    AtMost,
    More,
    AtLeast,
}

#[derive(Clone, Copy, Debug, PartialEq)]
enum Function {
    Least,
    Greatest,
    Root,
    Sine,
    Cosine,
    Tangent,
    Upward,
    If,
}

const FUNCTIONS: [(&str, Function); 8] = [
    ("if", Function::If),
    ("rounded up", Function::Upward),
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
    /// 1 where a comparison holds, else 0.
    Truth,
}

impl Dimension {
    fn words(self) -> String {
        match self {
            Self::Bare | Self::Number => "a number".into(),
            Self::Length(1) => "a length".into(),
            Self::Length(2) => "an area".into(),
            Self::Length(power) => format!("a length to the power {power}"),
            Self::Angle => "an angle".into(),
            Self::Truth => "a comparison".into(),
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

    /// How far a piece's edge or inner line slants from the upright as it runs from end to end, radians from 0 to π/2.
    ///
    /// # Errors
    /// As [`Scope::name`].
    fn slant_of(&mut self, piece: &str, edge: &str) -> Result<f64>;

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
        let mut parser = parse::Parser::new(&source);
        let root = parser.comparison()?;
        parser.at_end()?;
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

    /// Whether it names that measure, value or choice.
    pub fn mentions(&self, name: &str) -> bool {
        mentions(&self.root, name)
    }

    /// Whether it measures an edge of that piece.
    pub fn measures(&self, piece: &str) -> bool {
        measures(&self.root, piece)
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

    /// Works it out as a condition.
    ///
    /// # Errors
    /// As [`Formula::length`], for a result that is no comparison.
    pub fn holds(&self, scope: &mut dyn Scope) -> Result<bool> {
        let quantity = self.quantity(scope)?;
        if quantity.dimension == Dimension::Truth {
            return Ok(quantity.value != 0.0);
        }
        let finding =
            self.source.error(format!("a comparison is wanted here, and this is {}", quantity.dimension.words()));
        Err(finding.hint("write it as: bust girth > waist girth + 4").into())
    }

    /// Works it out as a length or an angle; a bare number is a length.
    ///
    /// # Errors
    /// As [`Formula::length`].
    pub fn length_or_angle(&self, scope: &mut dyn Scope) -> Result<Quantity> {
        let quantity = self.quantity(scope)?;
        match quantity.dimension {
            Dimension::Length(1) | Dimension::Angle => Ok(quantity),
            Dimension::Bare => Ok(Quantity::length(quantity.value * scope.unit().mm())),
            other => Err(self
                .source
                .error(format!("a length or an angle is wanted here, and this is {}", other.words()))
                .into()),
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
            Kind::SlantOf(piece, edge) => {
                scope.slant_of(piece, edge).map(|value| Quantity { value, dimension: Dimension::Angle }).map_err(placed)
            }
            Kind::Negative(inner) => {
                let quantity = self.evaluate(inner, scope)?;
                if quantity.dimension == Dimension::Truth {
                    return Err(self.at(expr, "a comparison has no sign").into());
                }
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
            Op::Less | Op::AtMost | Op::More | Op::AtLeast => {
                let (left, right) = self.matched(left, right, expr, unit)?;
                let holds = match op {
                    Op::Less => left.value < right.value,
                    Op::AtMost => left.value <= right.value,
                    Op::More => left.value > right.value,
                    _ => left.value >= right.value,
                };
                Ok(Quantity { value: f64::from(u8::from(holds)), dimension: Dimension::Truth })
            }
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
            Dimension::Angle | Dimension::Truth => None,
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
            Dimension::Angle | Dimension::Length(_) | Dimension::Truth => None,
        };
        let pair = if a.dimension == Dimension::Truth || b.dimension == Dimension::Truth {
            None
        } else if a.dimension == b.dimension {
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
        if function == Function::If {
            return self.either(args, expr, scope);
        }
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
            (Function::Upward, [value]) => match value.dimension {
                Dimension::Bare | Dimension::Number => Ok(Quantity { value: value.value.ceil(), ..*value }),
                other => Err(self.at(expr, format!("a number is wanted here, and this is {}", other.words())).into()),
            },
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
                .hint("least(a, b), greatest(a, b), root(a), if(a > b, c, d)")
                .into()),
        }
    }

    /// `if(a > b, c, d)`: only the one that counts is worked out.
    fn either(&self, args: &[Expr], expr: &Expr, scope: &mut dyn Scope) -> Result<Quantity> {
        let [condition, then, otherwise] = args else {
            return Err(self.at(expr, "this takes a comparison and two values").hint("if(a > b, c, d)").into());
        };
        let condition = self.evaluate(condition, scope)?;
        if condition.dimension != Dimension::Truth {
            let words = condition.dimension.words();
            return Err(self.at(expr, format!("a comparison is wanted first here, and this is {words}")).into());
        }
        self.evaluate(if condition.value == 0.0 { otherwise } else { then }, scope)
    }

    fn at(&self, expr: &Expr, message: impl Into<String>) -> Finding {
        self.source.error_at(expr.span.clone(), message)
    }
}

fn mentions(expr: &Expr, name: &str) -> bool {
    match &expr.kind {
        Kind::Name(own) => own == name || crate::measures::names::find(own).is_some_and(|known| known.name == name),
        Kind::Negative(inner) => mentions(inner, name),
        Kind::Binary(_, left, right) => mentions(left, name) || mentions(right, name),
        Kind::Call(_, args) => args.iter().any(|arg| mentions(arg, name)),
        Kind::Literal(..) | Kind::LengthOf(..) | Kind::SlantOf(..) => false,
    }
}

fn measures(expr: &Expr, piece: &str) -> bool {
    match &expr.kind {
        Kind::LengthOf(own, _) | Kind::SlantOf(own, _) => own == piece,
        Kind::Negative(inner) => measures(inner, piece),
        Kind::Binary(_, left, right) => measures(left, piece) || measures(right, piece),
        Kind::Call(_, args) => args.iter().any(|arg| measures(arg, piece)),
        Kind::Literal(..) | Kind::Name(_) => false,
    }
}

/// A formula is no longer than this, so that working it out can't run out of stack.
const LONGEST_TEXT: usize = 2000;
