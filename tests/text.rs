//! Lettering: every letter that a name may need, marks where Unicode says they belong, nothing dropped in silence.

use kurbo::{BezPath, Rect, Shape};
use oaktag::text::{Font, Lettering, letter, letter_with};

fn ink(lettering: &Lettering) -> Rect {
    lettering.paths.iter().map(Shape::bounding_box).reduce(|a, b| a.union(b)).expect("some ink")
}

/// Strokes that are in `whole` and not in `base`, as one box.
fn added(whole: &Lettering, base: &Lettering) -> Option<Rect> {
    let extra = whole.paths.iter().filter(|path| !base.paths.contains(path));
    extra.map(Shape::bounding_box).reduce(|a, b| a.union(b))
}

/// What is wrong with a mark's place: above (+1) or below (−1) the base, level with its middle.
fn mark_fault(whole: &Lettering, base: &Lettering, side: i32) -> Option<String> {
    let Some(mark) = added(whole, base) else { return Some("no mark".into()) };
    let letter = ink(base);
    if whole.paths.len() <= base.paths.len() {
        return Some("the base letter lost strokes".into());
    }
    if (mark.center().x - letter.center().x).abs() > 0.3 * letter.width() + 0.1 {
        return Some("not over the middle".into());
    }
    let gap = if side > 0 { mark.y0 - letter.y1 } else { letter.y0 - mark.y1 };
    (gap < 0.5).then(|| format!("the gap is {gap}"))
}

#[test]
fn capitals_have_the_height_that_was_asked_for() {
    for height in [2.0, 5.0, 21.0] {
        for c in ["H", "E", "T", "X"] {
            let box_ = ink(&letter(c, height));
            assert!((box_.height() - height).abs() < 1e-9 && box_.y0.abs() < 1e-9, "{c} at {height}: {box_:?}");
        }
    }
    // The seeded fault: at another height the same check fails.
    assert!((ink(&letter("H", 5.1)).height() - 5.0).abs() > 0.01);
}

#[test]
fn every_letter_that_a_name_may_need_has_strokes() {
    let wanted = "ọẹṣéñşøłŋɓɗƙßæœđ ỌẸṢÉÑŞØŁŊƁƊƘẞÆŒĐ àâäãåāăąćčçďèêëēęěğģíìîïīıķľļńňőöôòõŕřśšșťțúùûüūůűųýÿźžż \
        ½¼¾⅛⅜⅝⅞⅓⅔×–—°\"'/·±€£’‘“”…";
    let printable: String = (' '..='~').collect();
    for text in [wanted, &printable] {
        let lettering = letter(text, 3.0);
        assert_eq!(lettering.missing, Vec::<char>::new());
        for c in text.chars().filter(|c| !c.is_whitespace()) {
            let one = letter(&c.to_string(), 3.0);
            assert!(!one.paths.is_empty() && one.width > 0.0, "{c}");
            assert!(one.paths.iter().all(BezPath::is_finite), "{c}");
        }
    }
    // Letters of their own are told apart from what they could be mistaken for.
    for (own, base) in [("ø", "o"), ("đ", "d"), ("ł", "l"), ("ŋ", "n"), ("ɓ", "b"), ("ɗ", "d"), ("ƙ", "k"), ("ß", "B")]
    {
        assert_ne!(letter(own, 3.0).paths, letter(base, 3.0).paths, "{own}");
    }
}

#[test]
fn a_character_without_a_glyph_is_boxed_and_reported() {
    let lettering = letter("a中b中☃", 4.0);
    assert_eq!(lettering.missing, ['中', '☃']);
    let boxes = lettering.paths.iter().filter(|path| path.segments().count() == 4 && path.area().abs() > 1.0).count();
    assert_eq!(boxes, 3);
    // An unknown mark is reported too; here a combining enclosing circle.
    assert_eq!(letter("a\u{489}", 4.0).missing, ['\u{489}']);
    assert!(letter("ab", 4.0).missing.is_empty());
}

#[test]
fn marks_lie_on_the_side_of_their_combining_class() {
    // Canonical combining classes of the Unicode Character Database: 230 above, 220 below.
    for (whole, base, side) in [
        ("é", "e", 1),
        ("ñ", "n", 1),
        ("É", "E", 1),
        ("ï", "ı", 1),
        ("ọ", "o", -1),
        ("ẹ", "e", -1),
        ("ṣ", "s", -1),
        ("ț", "t", -1),
        ("Ọ", "O", -1),
    ] {
        let (whole_strokes, base) = (letter(whole, 21.0), letter(base, 21.0));
        assert_eq!(mark_fault(&whole_strokes, &base, side), None, "{whole}");
        // Seeded faults: the mark on the wrong side, and no mark at all.
        assert!(mark_fault(&whole_strokes, &base, -side).is_some(), "{whole}");
        assert!(mark_fault(&base, &base, side).is_some());
    }
    // A cedilla hangs from the letter, without a gap.
    let cedilla = added(&letter("ş", 21.0), &letter("s", 21.0)).expect("a cedilla");
    assert!((cedilla.y1 - ink(&letter("s", 21.0)).y0).abs() < 1e-9);
}

#[test]
fn spellings_that_unicode_calls_equal_are_drawn_alike() {
    // Canonical equivalence, Unicode Standard Annex 15.
    for (a, b) in [("ọ́", "o\u{323}\u{301}"), ("o\u{301}\u{323}", "o\u{323}\u{301}"), ("é", "e\u{301}"), ("Å", "Å")]
    {
        assert_eq!(letter(a, 3.0), letter(b, 3.0), "{a}");
    }
    assert_ne!(letter("ó", 3.0), letter("ọ", 3.0), "different letters must differ");
    // Two marks above stack outward and don't overlap.
    let (circumflex, both) = (letter("ê", 21.0), letter("ế", 21.0));
    let acute = added(&both, &circumflex).expect("an acute");
    assert!(acute.y0 > ink(&circumflex).y1);
}

#[test]
fn fractions_are_small_figures_about_a_slash() {
    let half = letter("½", 21.0);
    assert!((ink(&half).y1 - 21.0).abs() < 1e-9 && ink(&half).y0.abs() < 1e-9);
    assert!(half.width < letter("1/2", 21.0).width);
    assert_ne!(half.paths, letter("¼", 21.0).paths);
}

#[test]
fn senseless_heights_and_spaces_draw_nothing() {
    for height in [0.0, -1.0, f64::NAN, f64::INFINITY] {
        let lettering = letter("Ida", height);
        assert!(lettering.paths.is_empty() && lettering.width == 0.0, "{height}");
    }
    assert!(letter(" \t\n\u{a0}", 3.0).paths.is_empty());
    assert_eq!(letter("a\u{200b}b", 3.0), letter("ab", 3.0));
    assert!(letter("\u{301}", 3.0).paths.len() == 1, "a mark without a letter is still drawn");
    assert_eq!(letter("Ida & Bọ́lá ½", 3.0), letter("Ida & Bọ́lá ½", 3.0));
}

/// Two Cyrillic letters, Г and О, drawn for this test with fontTools 4.68.0: em 1000, capitals 700 high, Г 600 wide from
/// x = 100, О 650 wide from x = 0, the space 300.
fn two_letters() -> Font {
    let bytes = include_bytes!("data/two-letters.ttf").to_vec();
    Font::read(bytes, "two-letters.ttf").expect("a font")
}

#[test]
fn letters_of_a_font_have_the_place_and_size_of_its_outlines() {
    let font = two_letters();
    let lettering = letter_with("ГО Г", 7.0, Some(&font));
    assert!(lettering.missing.is_empty());
    // 7 mm high capitals are a hundredth of a font unit's 700: advances of 600, 650, 300 and 600.
    assert!((lettering.width - 21.5).abs() < 1e-9, "{}", lettering.width);
    assert_eq!(lettering.paths.len(), 3);
    let boxes: Vec<Rect> = lettering.paths.iter().map(Shape::bounding_box).collect();
    for (found, wanted) in boxes.iter().zip([(1.0, 5.0), (6.0, 12.0), (16.5, 20.5)]) {
        let close = (found.x0 - wanted.0).abs() < 1e-6 && (found.x1 - wanted.1).abs() < 1e-6;
        assert!(close && found.y0.abs() < 1e-6 && (found.y1 - 7.0).abs() < 1e-6, "{found:?} {wanted:?}");
    }
    // Г is 100 × 700 and 300 × 100 units; О is four parabolas in the corners of a square, whose area is 5/6 of it: a
    // parabola from a corner's two tangent ends cuts off a third of their triangle (Archimedes), here 1/6 of the quarter.
    assert!((lettering.paths[0].area().abs() - 10.0).abs() < 1e-6);
    assert!((lettering.paths[1].area().abs() - 42.0 * 5.0 / 6.0).abs() < 1e-6, "{}", lettering.paths[1].area());
    // Curves are cubics, closed, as the rest of the program has them.
    let elements = lettering.paths.iter().flat_map(kurbo::BezPath::elements);
    assert!(elements.clone().all(|element| !matches!(element, kurbo::PathEl::QuadTo(..))));
    assert_eq!(elements.filter(|element| matches!(element, kurbo::PathEl::ClosePath)).count(), 3);
    // The seeded fault: another height has other boxes.
    let other = letter_with("ГО Г", 7.1, Some(&font));
    assert!((other.width - 21.5).abs() > 0.2);
}

#[test]
fn strokes_come_before_a_font_and_what_neither_has_is_reported() {
    let font = two_letters();
    // Latin stays single strokes, so that a pen draws it once.
    assert_eq!(letter_with("Ọlá 12", 4.0, Some(&font)), letter("Ọlá 12", 4.0));
    let mixed = letter_with("Sleeve Г 2", 4.0, Some(&font));
    assert!(mixed.missing.is_empty());
    let closed = mixed.paths.iter().filter(|path| path.elements().contains(&kurbo::PathEl::ClosePath)).count();
    assert_eq!(closed, 1, "one letter of the font");
    let sum = letter("Sleeve ", 4.0).width + 4.0 * 600.0 / 700.0 + letter(" 2", 4.0).width;
    assert!((mixed.width - sum).abs() < 1e-9, "{} {sum}", mixed.width);
    // 李 is in neither: a box and a report, the letters around it kept.
    let lacking = letter_with("О 李", 4.0, Some(&font));
    assert!(lacking.missing.contains(&'李') && lacking.paths.len() >= 2, "{lacking:?}");
    assert!(Font::read(b"no font at all".to_vec(), "wrong.ttf").is_err());
}
