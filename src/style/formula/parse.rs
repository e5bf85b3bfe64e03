//! Formulas read.

use super::{Expr, FUNCTIONS, Kind, Literal, Op};
use crate::diag::{Finding, Result};
use crate::source::Text;
use crate::units::scan_length;

/// Parentheses and signs nest no deeper than this.
const DEEPEST: usize = 64;

pub(super) struct Parser<'a> {
    text: &'a str,
    at: usize,
    depth: usize,
    source: &'a Text,
}

impl<'a> Parser<'a> {
    pub(super) fn new(source: &'a Text) -> Self {
        Self { text: &source.text, at: 0, depth: 0, source }
    }

    /// Nothing is left.
    pub(super) fn at_end(&mut self) -> Result<()> {
        self.skip_space();
        if self.at < self.text.len() {
            return Err(self.expected("+, -, *, / or the end of the formula"));
        }
        Ok(())
    }

    /// A sum, or two of them compared.
    pub(super) fn comparison(&mut self) -> Result<Expr> {
        let left = self.sum()?;
        let ops = [
            ("<=", Op::AtMost),
            (">=", Op::AtLeast),
            ("≤", Op::AtMost),
            ("≥", Op::AtLeast),
            ("<", Op::Less),
            (">", Op::More),
        ];
        match self.operator(&ops) {
            Some(op) => {
                let right = self.sum()?;
                Ok(binary(op, left, right))
            }
            None => Ok(left),
        }
    }

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
        let asked = ["length of ", "slant of "].iter().find_map(|of| name.strip_prefix(of).map(|piece| (*of, piece)));
        if let Some((of, piece)) = asked {
            if !self.take("/") {
                return Err(self.expected("a slash and the edge's name, as in: length of Front/armhole"));
            }
            self.skip_space();
            let edge = self.words();
            if edge.is_empty() {
                return Err(self.expected("the edge's name"));
            }
            let piece = piece.to_owned();
            let kind = if of == "length of " { Kind::LengthOf(piece, edge) } else { Kind::SlantOf(piece, edge) };
            return Ok(Expr { span: start..self.at, kind });
        }
        let end = self.at;
        if name == "pi" {
            return Ok(Expr { span: start..end, kind: Kind::Literal(std::f64::consts::PI, None) });
        }
        if let Some((_, function)) = FUNCTIONS.iter().find(|(known, _)| *known == name)
            && self.take("(")
        {
            let mut args = vec![self.comparison()?];
            self.skip_space();
            while self.take(",") {
                args.push(self.comparison()?);
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
