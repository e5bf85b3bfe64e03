//! Lengths, transforms and style declarations of SVG attributes.

use super::super::path_data::numbers;
use super::PIXEL;
use kurbo::Affine;

/// A length in user units. `None` for what is not one, and for units that depend on a font.
pub(super) fn length(text: &str, base: f64) -> Option<f64> {
    let text = text.trim();
    let unit = text.trim_start_matches(|c: char| !(c.is_alphabetic() || c == '%') || c == 'e' || c == 'E');
    let (digits, unit) = match text.len() - unit.len() {
        at if unit.starts_with('%') || unit.chars().all(char::is_alphabetic) => (&text[..at], unit),
        _ => return None,
    };
    let [value] = numbers(digits).ok()?[..] else { return None };
    let scale = match unit {
        "" | "px" => 1.0,
        "mm" => 1.0 / PIXEL,
        "cm" => 10.0 / PIXEL,
        "in" => 96.0,
        "pt" => 96.0 / 72.0,
        "pc" => 16.0,
        "%" => base / 100.0,
        _ => return None,
    };
    Some(value * scale)
}

/// A list of transforms, the leftmost outermost (SVG 1.1, chapter 7.6).
pub(super) fn transform(text: &str) -> Option<Affine> {
    let mut whole = Affine::IDENTITY;
    let separators = |c: char| c.is_ascii_whitespace() || c == ',';
    let mut rest = text.trim_matches(separators);
    while !rest.is_empty() {
        let (name, behind) = rest.split_once('(')?;
        let (inside, behind) = behind.split_once(')')?;
        let values = numbers(inside).ok()?;
        let tan = |degrees: f64| degrees.to_radians().tan();
        let next = match (name.trim(), values.as_slice()) {
            ("matrix", &[a, b, c, d, e, f]) => Affine::new([a, b, c, d, e, f]),
            ("translate", &[x]) => Affine::translate((x, 0.0)),
            ("translate", &[x, y]) => Affine::translate((x, y)),
            ("scale", &[s]) => Affine::scale(s),
            ("scale", &[x, y]) => Affine::scale_non_uniform(x, y),
            ("rotate", &[angle]) => Affine::rotate(angle.to_radians()),
            ("rotate", &[angle, x, y]) => Affine::rotate_about(angle.to_radians(), (x, y)),
            ("skewX", &[angle]) => Affine::new([1.0, 0.0, tan(angle), 1.0, 0.0, 0.0]),
            ("skewY", &[angle]) => Affine::new([1.0, tan(angle), 0.0, 1.0, 0.0, 0.0]),
            _ => return None,
        };
        whole *= next;
        rest = behind.trim_start_matches(separators);
    }
    whole.is_finite().then_some(whole)
}

/// The value that a `style` attribute gives a property.
pub(super) fn declared<'s>(style: &'s str, name: &str) -> Option<&'s str> {
    style.split(';').rev().find_map(|declaration| {
        let (property, value) = declaration.split_once(':')?;
        (property.trim() == name).then(|| value.trim().trim_end_matches("!important").trim())
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lengths_with_their_units() {
        // CSS Values 3, section 6.2: 1 in = 2.54 cm = 96 px = 72 pt = 6 pc.
        for (text, mm) in [
            ("25.4mm", 25.4),
            ("2.54cm", 25.4),
            ("1in", 25.4),
            ("96", 25.4),
            ("96px", 25.4),
            ("72pt", 25.4),
            ("6pc", 25.4),
        ] {
            let read = length(text, 0.0).unwrap_or_else(|| panic!("{text}")) * PIXEL;
            assert!((read - mm).abs() < 1e-9, "{text}: {read}");
        }
        assert_eq!(length("50%", 300.0), Some(150.0));
        assert_eq!(length("1e1", 0.0), Some(10.0));
        assert_eq!(length("1e1px", 0.0), Some(10.0));
        for text in ["", "mm", "1em", "1ex", "1 2", "NaN", "inf", "1e999", "1mmm", "%"] {
            assert_eq!(length(text, 1.0), None, "{text}");
        }
    }

    #[test]
    fn transforms_apply_from_the_right() {
        let read = transform("translate(10, 20) scale(2),rotate(90)").expect("reads");
        let point = read * kurbo::Point::new(1.0, 0.0);
        assert!((point - kurbo::Point::new(10.0, 22.0)).hypot() < 1e-12, "{point:?}");
        for text in ["scale(", "scale()", "scale(1 2 3)", "turn(3)", "scale(1e400)", ")"] {
            assert!(transform(text).is_none(), "{text}");
        }
    }

    #[test]
    fn style_wins_by_its_last_word() {
        assert_eq!(declared("stroke: none; stroke:black", "stroke"), Some("black"));
        assert_eq!(declared("stroke-width:1", "stroke"), None);
    }
}
