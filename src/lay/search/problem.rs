//! What is to be laid, and the tables that tell how deep any two shapes lie in one another.

use super::convolution::{Node, cleaned, meeting};
use super::field::Field;
use geo::{Coord, MapCoords};

/// An outline in one of the ways that it may lie, counter-clockwise; the middle of its box is the origin.
#[derive(Clone, Debug, PartialEq)]
pub struct Form {
    /// The corners, mm.
    pub points: Vec<[f64; 2]>,
    /// Half the extent along x and y, mm.
    pub half: [f64; 2],
    /// The form that is this one turned by 180°, where there is one.
    pub twin: Option<usize>,
    /// Along and across the strip: where the middle may lie, as a place and how often it comes again, mm; 0 for anywhere.
    pub lattice: [[f64; 2]; 2],
}

impl Form {
    /// From corners in any place, and where the middle of their box was.
    pub fn new(points: &[[f64; 2]]) -> (Self, [f64; 2]) {
        let of = |axis: usize, pick: fn(f64, f64) -> f64, start: f64| points.iter().map(|p| p[axis]).fold(start, pick);
        let low = [0, 1].map(|axis| of(axis, f64::min, f64::INFINITY));
        let high = [0, 1].map(|axis| of(axis, f64::max, f64::NEG_INFINITY));
        Self::boxed(points, low, high)
    }

    /// The same for corners that only come near to an outline, and that outline's own box.
    pub fn boxed(points: &[[f64; 2]], low: [f64; 2], high: [f64; 2]) -> (Self, [f64; 2]) {
        let middle = [0, 1].map(|axis| f64::midpoint(low[axis], high[axis]));
        let half = [0, 1].map(|axis| (high[axis] - low[axis]) / 2.0);
        let points = points.iter().map(|p| [p[0] - middle[0], p[1] - middle[1]]).collect();
        (Self { points, half, twin: None, lattice: [[0.0; 2]; 2] }, middle)
    }

    /// The outline's area, mm².
    pub fn area(&self) -> f64 {
        let count = self.points.len();
        let twice: f64 = (0..count)
            .map(|i| {
                let (a, b) = (self.points[i], self.points[(i + 1) % count]);
                a[0] * b[1] - a[1] * b[0]
            })
            .sum();
        twice.abs() / 2.0
    }
}

/// Something to place.
#[derive(Clone, Debug, PartialEq)]
pub struct Item {
    /// The forms that it may take.
    pub forms: Vec<usize>,
    /// Where the middle of its box must lie across the strip, for a piece on the fold.
    pub across: Option<f64>,
    /// Where it lies already and stays.
    pub locked: Option<Place>,
}

/// Which form, and where the middle of its box lies, mm.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Place {
    /// Index of the form.
    pub form: usize,
    /// Along the strip.
    pub x: f64,
    /// Across it.
    pub y: f64,
}

/// A strip of fixed height, and what is to lie on it.
pub struct Problem {
    /// All forms.
    pub forms: Vec<Form>,
    /// All items.
    pub items: Vec<Item>,
    /// Across the strip, mm.
    pub height: f64,
    /// Space to keep between items, mm.
    pub gap: f64,
    fields: Vec<Field>,
    /// For each two forms their field, and whether it is that of the opposite shift.
    pairs: Vec<(u32, bool)>,
}

impl Problem {
    /// Prepares the tables, on that many threads. Items keep `gap`, and at the least a millionth of the height, from one
    /// another; the coordinates of outlines are rounded by less than that.
    pub fn new(forms: Vec<Form>, items: Vec<Item>, height: f64, gap: f64, threads: usize) -> Self {
        let largest = forms.iter().flat_map(|form| form.half).fold(height, f64::max);
        let grid = 2.0_f64.powi(21 - largest.log2().ceil() as i32);
        let gap = gap.max(height * 1e-6) + 2.0 / grid;
        let nodes: Vec<Vec<Node>> = forms
            .iter()
            .map(|form| cleaned(form.points.iter().map(|p| p.map(|at| (at * grid).round() as i64)).collect()))
            .collect();
        let count = forms.len();
        let mut pairs = vec![(u32::MAX, false); count * count];
        let takers = takers(count, &items);
        let mut wanted = Vec::new();
        for a in 0..count {
            for b in a..count {
                if pairs[a * count + b].0 != u32::MAX || !meet(takers[a], takers[b]) {
                    continue;
                }
                let index = wanted.len() as u32;
                wanted.push((a, b));
                pairs[a * count + b] = (index, false);
                if a != b {
                    pairs[b * count + a] = (index, true);
                }
                if let (Some(a), Some(b)) = (forms[a].twin, forms[b].twin) {
                    if pairs[a * count + b].0 == u32::MAX {
                        pairs[a * count + b] = (index, true);
                    }
                    if pairs[b * count + a].0 == u32::MAX {
                        pairs[b * count + a] = (index, false);
                    }
                }
            }
        }
        let field = |(a, b): &(usize, usize)| {
            let rings = meeting(&nodes[*a], &nodes[*b]);
            Field::new(&rings.map_coords(|c| Coord { x: c.x / grid, y: c.y / grid }), gap)
        };
        let (here, others) = wanted.split_at(wanted.len().div_ceil(threads.max(1)));
        let share = here.len().max(1);
        let tables = |part: &[(usize, usize)]| part.iter().map(field).collect::<Vec<_>>();
        let fields = std::thread::scope(|scope| {
            let others: Vec<_> = others.chunks(share).map(|part| scope.spawn(|| tables(part))).collect();
            let mut fields = tables(here);
            fields.extend(others.into_iter().flat_map(|part| part.join().unwrap_or_default()));
            fields
        });
        Self { forms, items, height, gap, fields, pairs }
    }

    /// How deep form `b` lies in form `a` where its middle lies (x, y) from that of `a`, mm.
    #[inline]
    pub(super) fn depth(&self, a: usize, b: usize, x: f64, y: f64) -> f64 {
        let (field, opposite) = self.pairs[a * self.forms.len() + b];
        let field = &self.fields[field as usize];
        if opposite { field.depth(-x, -y) } else { field.depth(x, y) }
    }

    /// Whether an item is clear of all others at a place.
    pub fn is_clear(&self, places: &[Place], item: usize, place: Place) -> bool {
        let mut others = places.iter().enumerate().filter(|(other, _)| *other != item);
        others.all(|(_, at)| self.depth(at.form, place.form, place.x - at.x, place.y - at.y) <= 0.0)
    }

    /// The area of all items, mm².
    pub fn area(&self) -> f64 {
        self.items.iter().map(|item| item.forms.first().map_or(0.0, |form| self.forms[*form].area())).sum()
    }

    /// The place within a strip of that length that is nearest to the one given.
    #[inline]
    pub(in crate::lay) fn within(&self, item: usize, place: Place, length: f64) -> Place {
        let Form { half: [x, y], lattice, .. } = &self.forms[place.form];
        Place {
            form: place.form,
            // Where the strip is too short the item begins with it.
            x: on_lattice(place.x.min(length - x).max(*x), *x, length - x, lattice[0]),
            y: self.items[item]
                .across
                .unwrap_or_else(|| on_lattice(place.y.min(self.height - y).max(*y), *y, self.height - y, lattice[1])),
        }
    }

    /// The least length that takes each of the items that are not locked, were it alone, mm.
    pub fn least_length(&self) -> f64 {
        let alone = |item: &Item| {
            let of = |form: &usize| {
                let Form { half: [x, _], lattice, .. } = &self.forms[*form];
                on_lattice(*x, *x, *x, lattice[0]) + x
            };
            item.forms.iter().map(of).fold(f64::INFINITY, f64::min)
        };
        self.items.iter().filter(|item| item.locked.is_none()).map(alone).fold(0.0, f64::max)
    }
}

/// Who may take a form.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Takers {
    None,
    One(usize),
    Several,
}

fn takers(forms: usize, items: &[Item]) -> Vec<Takers> {
    let mut takers = vec![Takers::None; forms];
    for (index, item) in items.iter().enumerate() {
        for form in &item.forms {
            takers[*form] = match takers[*form] {
                Takers::None => Takers::One(index),
                Takers::One(other) if other == index => Takers::One(index),
                _ => Takers::Several,
            };
        }
    }
    takers
}

/// Whether two forms can lie beside one another: those that only one and the same item takes can't.
fn meet(a: Takers, b: Takers) -> bool {
    a != Takers::None && b != Takers::None && (a != b || a == Takers::Several)
}

/// The point of a lattice nearest to `at` that lies between two limits; the first beyond the lower where none does.
#[inline]
fn on_lattice(at: f64, low: f64, high: f64, [offset, period]: [f64; 2]) -> f64 {
    if period <= 0.0 {
        return at;
    }
    let first = offset + ((low - offset) / period - 1e-9).ceil() * period;
    let last = offset + ((high - offset) / period + 1e-9).floor() * period;
    (offset + ((at - offset) / period).round() * period).min(last).max(first)
}
