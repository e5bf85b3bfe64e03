//! Which place on one side of a seam meets which on the other.

use crate::piece::Join;

/// Pairs of walked distances on the first and the second side, ascending in both, that are sewn to each other; between
/// two of them the longer side's surplus is spread evenly.
pub(super) struct Pairing {
    pairs: Vec<[f64; 2]>,
    /// Whether the ease could be spread where it was asked for.
    pub as_asked: bool,
}

impl Pairing {
    /// From a seam and the sewn lengths of its sides. Without a sewn stretch, as where the gap is longer than the side, no
    /// place meets any other.
    pub fn new(join: &Join, lengths: [f64; 2]) -> Self {
        let start = if join.fit.gap_at_start { join.gap } else { 0.0 };
        let end = start + lengths[1] - join.gap;
        if end <= start || lengths[0] <= 0.0 {
            return Self { pairs: Vec::new(), as_asked: join.fit.ease_between.is_none() };
        }
        let whole = vec![[0.0, start], [lengths[0], end]];
        let Some([from, to]) = join.fit.ease_between else { return Self { pairs: whole, as_asked: true } };
        // Flat outside the stretch, so that it takes the whole surplus.
        let (from, to) = (from.clamp(start, end), to.clamp(start, end));
        let eased = [join.ratio * (from - start), lengths[0] - join.ratio * (end - to)];
        if to - from < 1.0 || eased[1] - eased[0] < 1.0 {
            return Self { pairs: whole, as_asked: false };
        }
        let mut pairs = vec![[0.0, start], [eased[0], from], [eased[1], to], [lengths[0], end]];
        pairs.dedup_by(|b, a| (b[0] - a[0]).abs() < 1e-9);
        Self { pairs, as_asked: true }
    }

    /// Where a distance walked on side `from` (0 or 1) lands on the other side; `None` in the gap.
    pub fn across(&self, from: usize, walked: f64) -> Option<f64> {
        const ROUNDING: f64 = 1e-6;
        let to = 1 - from;
        let (first, last) = (self.pairs.first()?, self.pairs.last()?);
        if walked < first[from] - ROUNDING || walked > last[from] + ROUNDING {
            return None;
        }
        let pair = self.pairs.windows(2).find(|pair| walked <= pair[1][from]).or(self.pairs.windows(2).last())?;
        let share = (walked - pair[0][from]) / (pair[1][from] - pair[0][from]);
        Some(pair[0][to] + share.clamp(0.0, 1.0) * (pair[1][to] - pair[0][to]))
    }

    /// The pairs.
    pub fn pairs(&self) -> &[[f64; 2]] {
        &self.pairs
    }

    /// The sewn stretch of the second side.
    pub fn sewn(&self) -> Option<[f64; 2]> {
        Some([self.pairs.first()?[1], self.pairs.last()?[1]])
    }
}
