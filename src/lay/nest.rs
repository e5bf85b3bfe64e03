//! Sizes of one piece laid over one another: laid as one piece, and then taken apart into the sizes.

use super::{Placed, Sheet};
use crate::diag::{Finding, Result};
use crate::mark::nest::Nest;

/// A sheet on which nests were laid as single pieces, each nest taken apart: a placed piece for each of its sizes, all in
/// the same place, every stroke with its own size. What is of no size, such as the key, becomes the sheet's own. `sizes`
/// are the names of all sizes, in order.
///
/// # Errors
/// A placed piece that is no nest, or that has not as many strokes on the sheet as its nest: no stroke's size is sure then.
pub fn spread(sheet: &Sheet, nests: &[Nest], sizes: &[String]) -> Result<Sheet> {
    let mut spread = Sheet { placed: Vec::new(), strokes: Vec::new(), sizes: sizes.to_vec(), ..sheet.clone() };
    // Of each nest where its sizes begin, and how many of its strokes were met.
    let mut begin = Vec::with_capacity(sheet.placed.len());
    let unsure = |placed: &Placed| {
        let finding = Finding::error("the sizes that lie over one another can't be told apart on the sheet");
        finding.piece(&placed.piece).hint("write each size as a piece of its own")
    };
    let nest_of = |placed: &Placed| -> Result<&Nest> {
        let nest = nests.iter().find(|nest| nest.marked.name == placed.piece);
        nest.ok_or_else(|| Box::new(unsure(placed)))
    };
    for placed in &sheet.placed {
        begin.push(spread.placed.len());
        for (person, outline) in &nest_of(placed)?.sizes {
            spread.placed.push(Placed {
                piece: placed.piece.clone(),
                person: person.clone(),
                transform: placed.transform,
                outline: placed.transform * outline,
            });
        }
    }
    // The strokes of each piece stand on the sheet in the piece's own order.
    let mut met = vec![0; sheet.placed.len()];
    for stroke in &sheet.strokes {
        let mut stroke = stroke.clone();
        if let Some(placed) = stroke.placed {
            let size = nest_of(&sheet.placed[placed])?.of.get(met[placed]).copied().flatten();
            met[placed] += 1;
            stroke.placed = size.map(|size| begin[placed] + size);
        }
        spread.strokes.push(stroke);
    }
    for (placed, met) in sheet.placed.iter().zip(met) {
        if met != nest_of(placed)?.of.len() {
            return Err(Box::new(unsure(placed)));
        }
    }
    Ok(spread)
}
