//! Figures and findings in the words that a dressmaker uses. Inside a figure stand no-break spaces, so that `12 3/8 in`
//! is never broken over two lines; the terminal's tables turn them back into plain ones.

use super::html::escape;
use crate::diag::Severity;
use crate::piece::{Cut, Edge, Finish, Piece, Pressed};
use crate::role::Role;
use crate::units::{Unit, format_length, parse_length, trimmed};
use kurbo::Size;

/// A space that no line is broken at.
pub(super) const NO_BREAK: &str = "\u{a0}";

/// A way of the head: in metres, or in yards where inches are used; tenths below ten.
pub(super) fn distance(mm: f64, unit: Unit) -> String {
    let (one, sign) = match unit {
        Unit::Inch => (36.0 * Unit::Inch.mm(), "yd"),
        Unit::Centimetre | Unit::Millimetre => (1000.0, "m"),
    };
    let value = mm / one;
    if value.is_finite() {
        unbroken(&format!("{} {sign}", trimmed(value, usize::from(value < 10.0))))
    } else {
        UNKNOWN.into()
    }
}

/// A time as people say it: seconds up to a minute and a half, minutes up to an hour and a half, hours and minutes.
pub(super) fn about(seconds: f64) -> String {
    let minutes = (seconds / 60.0).round();
    if !seconds.is_finite() {
        return UNKNOWN.into();
    }
    unbroken(&match seconds {
        s if s < 90.0 => format!("{} s", trimmed(s, 0)),
        s if s < 5400.0 => format!("{} min", trimmed(minutes, 0)),
        _ => format!("{} h {} min", trimmed((minutes / 60.0).floor(), 0), trimmed(minutes % 60.0, 0)),
    })
}

/// Stands for a figure that isn't known.
pub(super) const UNKNOWN: &str = "–";

/// Differences under this read as "none", mm: half of what one decimal of a millimetre shows.
const NO_DIFFERENCE: f64 = 0.05;

/// A length in the user's unit.
pub(super) fn length(mm: f64, unit: Unit) -> String {
    if mm.is_finite() { unbroken(&format_length(mm, unit)) } else { UNKNOWN.into() }
}

fn unbroken(figure: &str) -> String {
    figure.replace(' ', NO_BREAK)
}

/// A length that must be exact, such as the side of a check square: in the user's unit where that shows it to a
/// hundredth of a millimetre, else in millimetres.
pub(super) fn exact(mm: f64, unit: Unit) -> String {
    let shown = length(mm, unit);
    match parse_length(&shown, unit) {
        Ok(read) if (read - mm).abs() < 0.01 => shown,
        _ => unbroken(&format!("{} mm", trimmed(mm, 2))),
    }
}

/// Width by height, with a place to break before the ×.
pub(super) fn size(size: Size, unit: Unit) -> String {
    format!("{} ×{NO_BREAK}{}", length(size.width, unit), length(size.height, unit))
}

/// An area: square inches where inches are used, else square centimetres; whole ones from ten up.
pub(super) fn area(square_mm: f64, unit: Unit) -> String {
    let (side, sign) = match unit {
        Unit::Inch => (Unit::Inch.mm(), "sq in"),
        Unit::Centimetre | Unit::Millimetre => (Unit::Centimetre.mm(), "cm²"),
    };
    let value = square_mm.abs() / (side * side);
    if !value.is_finite() {
        return UNKNOWN.into();
    }
    unbroken(&format!("{} {sign}", trimmed(value, usize::from(value < 10.0))))
}

/// A small difference: in the user's unit, and in millimetres beside it where a sixteenth of an inch would hide it.
pub(super) fn difference(mm: f64, unit: Unit) -> String {
    if !mm.is_finite() {
        return UNKNOWN.into();
    }
    if mm.abs() < NO_DIFFERENCE {
        return "none".into();
    }
    match unit {
        Unit::Inch => format!("{} ({}{NO_BREAK}mm)", length(mm, unit), trimmed(mm, 1)),
        Unit::Centimetre | Unit::Millimetre => unbroken(&format!("{} mm", trimmed(mm, 1))),
    }
}

/// Millimetres to a thousandth, for proofs.
pub(super) fn fine(mm: f64) -> String {
    if mm.is_finite() { format!("{mm:.3}{NO_BREAK}mm") } else { UNKNOWN.into() }
}

/// What the first side has to spare, as planned.
pub(super) fn ease(mm: f64, unit: Unit) -> String {
    if mm.is_finite() && mm.abs() < NO_DIFFERENCE { "none".into() } else { length(mm, unit) }
}

/// An angle to a whole degree.
pub(super) fn degrees(angle: Option<f64>) -> String {
    match angle {
        Some(angle) if angle.is_finite() => format!("{}°", trimmed(angle, 0)),
        _ => UNKNOWN.into(),
    }
}

/// `1 piece`, `2 pieces`.
pub(super) fn count(number: usize, one: &str) -> String {
    if number == 1 { format!("1 {one}") } else { format!("{number} {one}s") }
}

/// How many to cut: `2, mirrored`, `1 on the fold`.
pub(super) fn how_many(cut: &Cut, on_fold: bool) -> String {
    let mut text = cut.count.to_string();
    if cut.mirrored && cut.count == 2 {
        text.push_str(" (a pair)");
    } else if cut.mirrored && cut.count > 1 {
        text.push_str(", every second mirrored");
    }
    if on_fold {
        text.push_str(" on the fold");
    }
    text
}

/// The corner's finish.
pub(super) fn finish(finish: Finish) -> &'static str {
    match finish {
        Finish::Mitre => "mitre",
        Finish::Bevel => "bevel",
        Finish::Round => "round",
        Finish::Square => "square",
        Finish::Step => "step",
        Finish::FoldBack => "fold back",
    }
}

/// Where a dart or a pleat on an edge is pressed, as HTML: towards the neighbour that the edge meets there.
pub(super) fn pressed(piece: &Piece, edge: &str, side: Pressed) -> String {
    let count = piece.edges.len();
    let step = match side {
        Pressed::ToStart => count - 1,
        Pressed::ToEnd => 1,
        Pressed::Open => return "pressed open".into(),
    };
    let Some(own) = piece.edges.iter().position(|own| own.name == edge) else { return "pressed to one side".into() };
    // An edge that is parted in two is one to the eye.
    let around = (1..count).map(|i| &piece.edges[(own + i * step) % count]);
    let neighbour = around.map(Edge::whole_name).find(|name| *name != piece.edges[own].whole_name());
    neighbour.map_or_else(|| "pressed to one side".into(), |name| format!("pressed towards the {}", escape(name)))
}

/// What a severity asks of the reader.
pub(super) fn severity(severity: Severity) -> &'static str {
    match severity {
        Severity::Note => "Note",
        Severity::Warning => "Look at this",
        Severity::Breach => "Check before cutting",
        Severity::Error => "Stop",
    }
}

/// A role as a layer's name.
pub(super) fn layer(role: Role) -> &'static str {
    match role {
        Role::Cut => "cut line",
        Role::Sew => "sew line",
        Role::Notch => "notches",
        Role::Grain => "grainline",
        Role::Fold => "fold",
        Role::Drill => "drill holes",
        Role::Line => "inner lines",
        Role::Dart => "darts and pleats",
        Role::Label => "writing",
        Role::Square => "check square",
    }
}

/// A, B … Z, AA, AB …
pub(super) fn letter(index: usize) -> String {
    let last = char::from(b'A' + (index % 26) as u8);
    if index < 26 { last.to_string() } else { format!("{}{last}", letter(index / 26 - 1)) }
}

/// The unit's name in the plural.
pub(super) fn unit_name(unit: Unit) -> &'static str {
    match unit {
        Unit::Inch => "inches",
        Unit::Centimetre => "centimetres",
        Unit::Millimetre => "millimetres",
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn figures_read_as_people_say_them() {
        let plain = |figure: String| figure.replace(NO_BREAK, " ");
        assert_eq!(plain(size(Size::new(304.8, 609.6), Unit::Inch)), "12 in × 24 in");
        // 1 ft² = 144 sq in (definition); 1 m² = 10,000 cm² (definition).
        assert_eq!(plain(area(304.8 * 304.8, Unit::Inch)), "144 sq in");
        assert_eq!(plain(area(1e6, Unit::Millimetre)), "10000 cm²");
        assert_eq!(plain(difference(0.04, Unit::Inch)), "none");
        assert_eq!(plain(difference(-0.6, Unit::Inch)), "0 in (-0.6 mm)");
        assert_eq!(plain(difference(f64::NAN, Unit::Inch)), UNKNOWN);
        assert_eq!(plain(exact(101.6, Unit::Inch)), "4 in");
        assert_eq!(plain(exact(100.0, Unit::Inch)), "100 mm");
        assert_eq!(degrees(Some(179.6)), "180°");
        // 1 yd = 914.4 mm exactly (international yard, 1959).
        assert_eq!(plain(distance(9144.0, Unit::Inch)), "10 yd");
        assert_eq!(plain(distance(2340.0, Unit::Centimetre)), "2.3 m");
        assert_eq!(
            [45.4, 100.0, 5000.0, 5400.0, 9000.0].map(|s| plain(about(s))),
            ["45 s", "2 min", "83 min", "1 h 30 min", "2 h 30 min"]
        );
        assert_eq!(about(f64::INFINITY), UNKNOWN);
        assert_eq!(how_many(&Cut { count: 2, mirrored: true, cloth: "main".into() }, false), "2 (a pair)");
        assert_eq!(["A", "Z", "AA", "BA"].map(String::from), [0, 25, 26, 52].map(letter));
    }
}
