//! Which items may be near a box: sets of bits, one for each line of a coarse grid.

/// Lines of the grid in each direction.
const LINES: usize = 64;

/// For each axis the items that begin before the end of a stretch, and those that end after its beginning.
#[derive(Clone)]
pub(super) struct Near {
    over: [f64; 2],
    words: usize,
    /// Per axis and line: items whose low end is at or below the line's stretch.
    begun: [Vec<u64>; 2],
    /// Items whose high end is at or beyond it.
    open: [Vec<u64>; 2],
}

impl Near {
    pub(super) fn new(size: [f64; 2], items: usize) -> Self {
        let words = items.div_ceil(64);
        let empty = || [vec![0; words * LINES], vec![0; words * LINES]];
        Self { over: size.map(|size| LINES as f64 / size), words, begun: empty(), open: empty() }
    }

    #[inline]
    fn line(&self, axis: usize, at: f64) -> usize {
        ((at * self.over[axis]).max(0.0) as usize).min(LINES - 1)
    }

    /// Enters the box of an item in place of its last one.
    pub(super) fn set(&mut self, item: usize, low: [f64; 2], high: [f64; 2]) {
        let (word, bit) = (item / 64, 1_u64 << (item % 64));
        for axis in 0..2 {
            let (first, last) = (self.line(axis, low[axis]), self.line(axis, high[axis]));
            for line in 0..LINES {
                let at = line * self.words + word;
                let put = |set: &mut Vec<u64>, is: bool| if is { set[at] |= bit } else { set[at] &= !bit };
                put(&mut self.begun[axis], first <= line);
                put(&mut self.open[axis], last >= line);
            }
        }
    }

    /// Calls for every item whose box may meet this one, in ascending order, until told to stop.
    #[inline]
    pub(super) fn each(&self, low: [f64; 2], high: [f64; 2], mut call: impl FnMut(usize) -> bool) {
        let row = |set: &'_ [u64], line: usize| line * self.words..set.len().min((line + 1) * self.words);
        let sets = [
            &self.begun[0][row(&self.begun[0], self.line(0, high[0]))],
            &self.open[0][row(&self.open[0], self.line(0, low[0]))],
            &self.begun[1][row(&self.begun[1], self.line(1, high[1]))],
            &self.open[1][row(&self.open[1], self.line(1, low[1]))],
        ];
        let [a, b, c, d] = sets;
        for (word, (((a, b), c), d)) in a.iter().zip(b).zip(c).zip(d).enumerate() {
            let mut bits = a & b & c & d;
            while bits != 0 {
                let item = word * 64 + bits.trailing_zeros() as usize;
                bits &= bits - 1;
                if !call(item) {
                    return;
                }
            }
        }
    }
}
