//! What a ring is sewn to goes all the way round: a half that is named is completed by its mirror image.

use super::{EdgeStep, PieceSteps, SpanRef, Strip, Style};
use crate::diag::Result;

/// Completes what every ring of the style is sewn to.
///
/// A ring whose edges are named as often as they are there, on every copy and on both halves of a fold, is taken as it is
/// named. Where one half is named, from centre to centre, the other half follows as its image. Where the named edges close
/// a ring by themselves, as the hem of a sleeve, there is a ring for every copy.
///
/// # Errors
/// Edges that are named neither as often as they are there nor once for each half; a half that does not run from centre
/// to centre; copies that may be one ring or many.
pub(super) fn complete(style: &mut Style) -> Result<()> {
    for index in 0..style.strips.len() {
        let strip = &style.strips[index];
        let of_pieces = strip.onto.iter().all(|span| style.piece(&span.piece).is_some_and(|steps| !steps.block));
        if strip.ring && !strip.onto.is_empty() && of_pieces {
            let (onto, rings) = all_round(style, strip)?;
            (style.strips[index].onto, style.strips[index].rings) = (onto, rings);
        }
    }
    Ok(())
}

/// What the ring is sewn to from its start to its start again, and how many such rings there are.
fn all_round(style: &Style, strip: &Strip) -> Result<(Vec<SpanRef>, u32)> {
    let onto = &strip.onto;
    let mut missing = Vec::new();
    for span in onto {
        let named = onto.iter().filter(|other| other.piece == span.piece && other.edge == span.edge).count() as u32;
        let there = style.piece(&span.piece).map_or(0, there);
        missing.push((span, named, there));
    }
    if missing.iter().all(|(_, named, there)| named == there) {
        return Ok((onto.clone(), 1));
    }
    let (first, named, there) = missing[0];
    let times = there / named;
    let uneven = missing.iter().any(|(_, named, there)| named * times != *there);
    let short = missing.iter().find(|(_, named, there)| named < there).unwrap_or(&missing[0]);
    if let Some((span, named, there)) = uneven.then_some(short) {
        let message = format!(
            "a ring goes all the way round: \"{}\" is there {} and is named {} here",
            plain(span),
            often(*there),
            often(*named)
        );
        return Err(span
            .place
            .error(message)
            .hint("name every edge of one half once, or all of them all round")
            .into());
    }
    let meet = |a: &SpanRef, b: &SpanRef| {
        beside(style, a, true).zip(beside(style, b, false)).is_some_and(|(a, b)| is_sewn(style, a, b))
    };
    let is_mirrored = |span: &SpanRef| style.piece(&span.piece).is_some_and(|steps| steps.mirrored || fold(steps));
    if onto.iter().zip(onto.iter().cycle().skip(1)).all(|(a, b)| meet(a, b)) {
        if onto.iter().all(is_mirrored) {
            return Ok((onto.clone(), times));
        }
        let message = format!("\"{}\" is cut {}: is this one ring, or one for each?", first.piece, often(there));
        let one = format!("for one ring all round name \"{}\" {}", plain(first), often(there));
        return Err(first
            .place
            .error(message)
            .hint(format!("{one}; for one each write length=\"length of {}\" in place of onto", plain(first)))
            .into());
    }
    walked_on(onto, meet)?;
    from_centre_to_centre(style, onto)?;
    if !onto.iter().any(is_mirrored) {
        return Ok((cycled(onto, times), 1));
    }
    if times % 2 == 1 {
        let message = format!("a ring of {times} halves does not close");
        return Err(first.place.error(message).hint("name every edge all round").into());
    }
    let image = onto.iter().rev().map(turned);
    let both: Vec<SpanRef> = onto.iter().cloned().chain(image).collect();
    Ok((cycled(&both, times / 2), 1))
}

/// How many edges of that name are worn: one of every copy, two where it is cut on the fold.
fn there(steps: &PieceSteps) -> u32 {
    steps.count * if fold(steps) { 2 } else { 1 }
}

fn fold(steps: &PieceSteps) -> bool {
    steps.edges.iter().any(|edge| edge.fold)
}

fn cycled(onto: &[SpanRef], times: u32) -> Vec<SpanRef> {
    (0..times).flat_map(|_| onto.iter().cloned()).collect()
}

fn turned(span: &SpanRef) -> SpanRef {
    SpanRef { backwards: !span.backwards, ..span.clone() }
}

fn plain(span: &SpanRef) -> String {
    format!("{}/{}", span.piece, span.edge)
}

fn often(times: u32) -> String {
    match times {
        1 => "once".into(),
        2 => "twice".into(),
        _ => format!("{times} times"),
    }
}

/// The edge beside a span, with its piece, where the span is begun or ended.
fn beside<'s>(style: &'s Style, span: &'s SpanRef, at_end: bool) -> Option<(&'s str, &'s EdgeStep)> {
    let steps = style.piece(&span.piece)?;
    let index = steps.edges.iter().position(|edge| edge.name.text == span.edge)?;
    let count = steps.edges.len();
    let beside = if at_end == span.backwards { index + count - 1 } else { index + 1 } % count;
    Some((&span.piece, &steps.edges[beside]))
}

/// Whether two edges, each with its piece, are sewn to each other.
fn is_sewn(style: &Style, a: (&str, &EdgeStep), b: (&str, &EdgeStep)) -> bool {
    let on = |side: &[SpanRef], (piece, edge): (&str, &EdgeStep)| {
        side.iter().any(|span| span.piece == piece && span.edge == edge.name.text)
    };
    style.seams.iter().any(|seam| {
        let [one, other] = &seam.sides;
        on(one, a) && on(other, b) || on(one, b) && on(other, a)
    })
}

/// Refuses edges one of which is walked the wrong way round, as the seams beside them show.
fn walked_on(onto: &[SpanRef], meet: impl Fn(&SpanRef, &SpanRef) -> bool) -> Result<()> {
    let mut right: Vec<SpanRef> = onto.iter().take(1).cloned().collect();
    for (before, span) in onto.windows(2).map(|pair| (&pair[0], &pair[1])) {
        let last = right.last().unwrap_or(before);
        let turn = !meet(last, span) && meet(last, &turned(span));
        right.push(if turn { turned(span) } else { span.clone() });
    }
    let Some((wrong, _)) = onto.iter().zip(&right).find(|(given, right)| given.backwards != right.backwards) else {
        return Ok(());
    };
    let words =
        right.iter().map(|span| format!("\"{}{}\"", plain(span), if span.backwards { " backwards" } else { "" }));
    Err(wrong
        .place
        .error("this edge runs the other way: it does not start where the one before it ends")
        .hint(format!("write: onto {}", words.collect::<Vec<_>>().join(" ")))
        .into())
}

/// Refuses a half whose ends are sewn to something else: the other half can't be its image.
fn from_centre_to_centre(style: &Style, onto: &[SpanRef]) -> Result<()> {
    for (span, at_end) in [(onto.first(), false), (onto.last(), true)] {
        let Some((span, (piece, edge))) = span.and_then(|span| Some((span, beside(style, span, at_end)?))) else {
            continue;
        };
        let partners =
            style.seams.iter().flat_map(|seam| [(&seam.sides[0], &seam.sides[1]), (&seam.sides[1], &seam.sides[0])]);
        let is_it = |other: &SpanRef| other.piece == piece && other.edge == edge.name.text;
        let on = partners.filter(|(side, _)| side.iter().any(is_it)).flat_map(|(_, other)| other);
        if let Some(on) = on.into_iter().find(|other| !is_it(other)) {
            let place = if at_end { "ends" } else { "starts" };
            let message = format!(
                "a ring goes all the way round: this half {place} at {piece}/{}, which is sewn to {}",
                edge.name.text,
                plain(on)
            );
            return Err(span
                .place
                .error(message)
                .hint("name one half from centre to centre, such as \"Front/hem\" \"Back/hem backwards\", or every edge all round")
                .into());
        }
    }
    Ok(())
}
