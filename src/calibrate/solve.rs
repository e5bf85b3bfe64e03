//! What a test square's readings say of the machine: its scales along x and y and its skew by least squares, with their
//! uncertainty; along the feed a scale for each stretch that differs, where a ladder was read.
//!
//! Each reading is assumed right to the nearest mark of the tape, and the tape laid on to half a mark: two uniform errors
//! of half a mark either way, each with the variance r²/12 (JCGM 100:2008, 4.3.7). Reading one length again averages the
//! laying of the tape and not the rounding. Gauss–Newton on lengths; the covariance is (AᵀWA)⁻¹, and is widened by χ² per
//! degree of freedom where the readings agree less well than that (Birge, Physical Review 40, 1932).

use super::ratios::{Named, named};
use crate::device::{FeedSpan, Sure};
use crate::diag::{Finding, Result};
use crate::units::{INCH, LONGEST, trimmed};
use serde::Serialize;

/// What was drawn, as it was to be.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Nominal {
    /// The rectangle along x, mm.
    pub width: f64,
    /// Along y, mm.
    pub height: f64,
    /// Its left side, commanded x, mm.
    pub from: f64,
    /// From one rung of the ladder to the next, mm; 0 where there is none. The first stands at the rectangle's left side.
    pub step: f64,
    /// As far as the uncertainty is stated, along x from the left side and along y, mm.
    pub reach: [f64; 2],
}

/// What was measured, mm. Each length may be given several times.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Readings {
    /// Lower and upper side.
    pub width: Vec<f64>,
    /// Left and right side.
    pub height: Vec<f64>,
    /// From the lower left corner to the upper right.
    pub diagonal: Vec<f64>,
    /// From the upper left corner to the lower right.
    pub diagonal_2: Vec<f64>,
    /// From the first rung of the ladder to each of the next, in order.
    pub ladder: Vec<f64>,
    /// One mark of the tape.
    pub resolution: f64,
}

/// What the readings say.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Solution {
    /// Drawn over commanded along x, from end to end, as measured.
    pub x: f64,
    /// Along y.
    pub y: f64,
    /// Shift along x for each unit of y.
    pub skew: f64,
    /// Within these the true values lie in 95 of 100 cases.
    pub sure: Sure,
    /// Whether the skew was measured: without a diagonal it is not.
    pub leans: bool,
    /// Scales to correct by: those measured, or 1 (and 0) where the error lies inside its uncertainty.
    pub corrected: [f64; 3],
    /// Spans of the feed to correct by, commanded x; empty where one scale is enough.
    pub feed: Vec<FeedSpan>,
    /// After the correction every place, as far as the square's reach, is right to this, mm, in 95 of 100 machines.
    pub within: f64,
    /// How far that reaches along x and y, mm.
    pub reach: [f64; 2],
    /// One mark of the tape, mm.
    pub resolution: f64,
    /// What does not agree: to be measured again before it is believed.
    pub questions: Vec<String>,
    /// What else the scales may mean.
    pub named: Vec<Named>,
}

/// Readings that differ by less are not questioned, whatever the tape, mm.
const CONTRADICTION: f64 = 0.5;

/// A machine that errs by more is asked about: common practice is under one in a hundred, no source.
const ODD: f64 = 0.03;

/// A machine that errs by more than this, and by no ratio that has a name, was not measured: nonsense.
const ABSURD: f64 = 0.1;

impl Solution {
    /// Whether anything is to be corrected.
    pub fn corrects(&self) -> bool {
        self.corrected.map(f64::to_bits) != [1.0, 1.0, 0.0].map(f64::to_bits) || !self.feed.is_empty()
    }
}

/// Finds the machine's scales and skew.
///
/// # Errors
/// A width or a height missing; lengths that no tape gives; sides and diagonals that make no rectangle; scales that no
/// machine has and no mix-up explains.
pub fn solve(nominal: &Nominal, readings: &Readings) -> Result<Solution> {
    refuse_nonsense(nominal, readings)?;
    // Along a roll no further than something was measured.
    let measured = if nominal.step > 0.0 && readings.ladder.is_empty() { nominal.width } else { nominal.reach[0] };
    let nominal = &Nominal { reach: [measured, nominal.reach[1]], ..*nominal };
    let scale = |values: &[f64], nominal: f64| mean(values) / nominal;
    let (x, y) = (scale(&readings.width, nominal.width), scale(&readings.height, nominal.height));
    let u = mark(readings) * std::f64::consts::SQRT_2;
    let first_named = named(x, y, u / nominal.width.min(nominal.height));
    if first_named.is_empty() {
        for (name, scale) in [("width", x), ("height", y)] {
            if (scale - 1.0).abs() > ABSURD {
                let message = format!("the {name} is {} of what was drawn: no machine errs so far", percent(scale));
                return Err(Finding::error(message)
                    .hint("check the unit and which side is which; in inches write 23 1/2 in")
                    .into());
            }
        }
    }
    let (fit, breaks) = fit_with_spans(nominal, readings, x, y)?;
    let spans = breaks.len();
    let own = |index: usize| fit.covariance[index][index].sqrt();
    let total = if spans == 1 { nominal.width } else { nominal.step * readings.ladder.len() as f64 };
    let overlaps = overlaps(&breaks, total);
    let x = dot(&overlaps, &fit.values[..spans]) / total;
    let u_x = quadratic(&fit.covariance, &padded(&overlaps, fit.values.len())).sqrt() / total;
    let (y, u_y) = (fit.values[spans], own(spans));
    let leans = !(readings.diagonal.is_empty() && readings.diagonal_2.is_empty());
    let (skew, u_skew) = if leans { (fit.values[spans + 1], own(spans + 1)) } else { (0.0, 0.0) };
    if skew.abs() > ABSURD {
        let message = "these sides and diagonals make no rectangle: the two diagonals differ by too much";
        return Err(Finding::error(message).hint("measure both diagonals again, from corner to corner").into());
    }
    let beyond = |value: f64, u: f64| value.abs() > 2.0 * u;
    let corrected = [
        if spans > 1 || beyond(x - 1.0, u_x) { x } else { 1.0 },
        if beyond(y - 1.0, u_y) { y } else { 1.0 },
        if beyond(skew, u_skew) { skew } else { 0.0 },
    ];
    let mut feed = Vec::new();
    if spans > 1 {
        for (index, scale) in fit.values[..spans].iter().enumerate() {
            let from = if index == 0 { 0.0 } else { nominal.from + breaks[index] };
            feed.push(FeedSpan { from, scale: *scale });
        }
        // Where nothing was measured, the mean of what was is the best guess.
        feed.push(FeedSpan { from: nominal.from + total, scale: x });
    }
    let mut questions = questions(nominal, readings, &fit, &breaks, leans);
    let named = named(x, y, u_x.max(u_y));
    if named.is_empty() {
        for (way, scale) in [("width", x), ("height", y)] {
            if (scale - 1.0).abs() > ODD {
                questions.push(format!(
                    "the {way} is {} of what was drawn, which is much for a machine: look in the print dialogue and \
                     the driver for a setting that scales, and measure again",
                    percent(scale)
                ));
            }
        }
    }
    let within = within(nominal, &fit, &breaks, leans, corrected, x);
    let unresolved = if readings.ladder.is_empty() { 0.0 } else { fit.ladder_residual };
    Ok(Solution {
        x,
        y,
        skew,
        sure: Sure { x: 2.0 * u_x, y: 2.0 * u_y, skew: 2.0 * u_skew },
        leans,
        corrected,
        feed,
        within: within + unresolved,
        reach: nominal.reach,
        resolution: readings.resolution,
        questions,
        named,
    })
}

fn refuse_nonsense(nominal: &Nominal, readings: &Readings) -> Result<()> {
    let groups = [
        ("width", &readings.width),
        ("height", &readings.height),
        ("diagonal", &readings.diagonal),
        ("second diagonal", &readings.diagonal_2),
        ("ladder", &readings.ladder),
    ];
    for (name, values) in groups {
        if let Some(value) = values.iter().find(|value| !(value.is_finite() && **value > 0.0 && **value < LONGEST)) {
            let message = format!("a {name} of {value} mm is no length that a tape gives");
            return Err(Finding::error(message).hint("give the length as read, such as 599.5 mm or 23 1/2 in").into());
        }
    }
    for (name, values) in &groups[..2] {
        if values.is_empty() {
            let message = format!("the {name} was not measured");
            return Err(Finding::error(message).hint(format!("give it: --{name} \"…\"")).into());
        }
    }
    if !(readings.resolution.is_finite() && readings.resolution > 0.0 && readings.resolution < 50.0) {
        let message = "one mark of the tape must be more than 0 and less than 50 mm";
        return Err(Finding::error(message).hint("such as --read-to \"0.5 mm\" or --read-to \"1/16 in\"").into());
    }
    let (w, h) = (mean(&readings.width), mean(&readings.height));
    for (name, values) in &groups[2..4] {
        for d in *values {
            if !((w - h).abs()..=w + h).contains(d) {
                let message = format!("a {name} of {} mm can't lie in a rectangle of those sides", trimmed(*d, 2));
                return Err(Finding::error(message).hint("check which reading is which, and their units").into());
            }
        }
    }
    if !readings.ladder.is_empty() {
        if nominal.step <= 0.0 {
            let finding = Finding::error("this square has no ladder: its medium is no roll");
            return Err(finding.hint("leave --ladder out").into());
        }
        let mut before = 0.0;
        for (index, value) in readings.ladder.iter().enumerate() {
            let apart = (value - before) / nominal.step / (w / nominal.width);
            if !(0.5..=1.5).contains(&apart) {
                let message = format!("rung {} of the ladder at {} mm is out of step", index + 1, trimmed(*value, 2));
                return Err(Finding::error(message)
                    .hint("measure each rung from the ladder's start, and give them in order with none left out")
                    .into());
            }
            before = *value;
        }
    }
    Ok(())
}

/// A length that was read: its value, its variance, and how it follows from the parameters: along the spans of x from
/// its left end, and along y, upwards or downwards.
struct Observed {
    value: f64,
    variance: f64,
    along: f64,
    up: f64,
}

/// Parameters (scales of the spans, y, skew) with their covariance.
struct Fit {
    values: Vec<f64>,
    covariance: Vec<Vec<f64>>,
    /// Largest difference of a rung from the fit, mm.
    ladder_residual: f64,
}

/// A mark's standard uncertainty: uniform over one mark, mm.
fn mark(readings: &Readings) -> f64 {
    readings.resolution / 12.0_f64.sqrt()
}

/// The readings, several of one length as their mean. Rounding does not average, laying the tape does.
fn observed(nominal: &Nominal, readings: &Readings) -> Vec<Observed> {
    let one = mark(readings).powi(2);
    let Nominal { width, height, step, .. } = *nominal;
    let means = [
        (&readings.width, width, 0.0),
        (&readings.height, 0.0, height),
        (&readings.diagonal, width, height),
        (&readings.diagonal_2, width, -height),
    ];
    let sides = means.into_iter().filter(|(values, ..)| !values.is_empty()).map(|(values, along, up)| Observed {
        value: mean(values),
        variance: one + one / values.len() as f64,
        along,
        up,
    });
    let rungs = readings.ladder.iter().enumerate().map(|(index, value)| Observed {
        value: *value,
        variance: 2.0 * one,
        along: step * (index + 1) as f64,
        up: 0.0,
    });
    sides.chain(rungs).collect()
}

/// One scale along x, and more where the ladder shows by twice its uncertainty that one is not enough.
fn fit_with_spans(nominal: &Nominal, readings: &Readings, x: f64, y: f64) -> Result<(Fit, Vec<f64>)> {
    let observed = observed(nominal, readings);
    let mut breaks = vec![0.0];
    if readings.ladder.len() > 2 {
        let mut places: Vec<[f64; 2]> = vec![[0.0, 0.0]];
        places.extend(readings.ladder.iter().enumerate().map(|(i, value)| [nominal.step * (i + 1) as f64, *value]));
        let mut knots = Vec::new();
        bends(&places, 0, places.len() - 1, mark(readings) * std::f64::consts::SQRT_2, &mut knots);
        knots.sort_unstable();
        breaks.extend(knots.into_iter().map(|index| places[index][0]));
    }
    let fit = least_squares(&observed, &breaks, x, y)?;
    Ok((fit, breaks))
}

/// Where a row of places bends by more than twice the uncertainty of a bend: Douglas and Peucker's way (Cartographica
/// 10, 1973), with that for the tolerance.
fn bends(places: &[[f64; 2]], from: usize, to: usize, u: f64, knots: &mut Vec<usize>) {
    let ([x0, y0], [x1, y1]) = (places[from], places[to]);
    let mut furthest = (1.0, from);
    for (index, [x, y]) in places.iter().enumerate().take(to).skip(from + 1) {
        let share = (x - x0) / (x1 - x0);
        let away = (y - y0 - share * (y1 - y0)).abs();
        // The ends of the chord were read as well, but for the ladder's own start.
        let start = if from == 0 { 0.0 } else { (1.0 - share).powi(2) };
        let beyond = away / (2.0 * u * (1.0 + share * share + start).sqrt());
        if beyond > furthest.0 {
            furthest = (beyond, index);
        }
    }
    let (_, at) = furthest;
    if at > from {
        knots.push(at);
        bends(places, from, at, u, knots);
        bends(places, at, to, u, knots);
    }
}

/// How much of `[0, along]` lies in each span.
fn overlaps(breaks: &[f64], along: f64) -> Vec<f64> {
    let ends = breaks[1..].iter().copied().chain([f64::INFINITY]);
    breaks.iter().zip(ends).map(|(from, to)| (along.min(to) - from).max(0.0)).collect()
}

fn least_squares(observed: &[Observed], breaks: &[f64], x: f64, y: f64) -> Result<Fit> {
    let spans = breaks.len();
    let leans = observed.iter().any(|each| each.along > 0.0 && each.up.abs() > 0.0);
    let count = spans + 1 + usize::from(leans);
    let mut values = vec![x; spans];
    values.push(y);
    if leans {
        values.push(0.0);
    }
    let mut covariance = Vec::new();
    let mut chi_square = 0.0;
    let mut ladder_residual: f64 = 0.0;
    for _ in 0..30 {
        let mut normal = vec![vec![0.0; count]; count];
        let mut right = vec![0.0; count];
        chi_square = 0.0;
        ladder_residual = 0.0;
        for each in observed {
            let (length, slopes) = predicted(each, breaks, &values, leans);
            let off = each.value - length;
            chi_square += off * off / each.variance;
            if each.up.abs() <= 0.0 {
                ladder_residual = ladder_residual.max(off.abs());
            }
            for row in 0..count {
                right[row] += slopes[row] * off / each.variance;
                for column in 0..count {
                    normal[row][column] += slopes[row] * slopes[column] / each.variance;
                }
            }
        }
        covariance = inverse(normal).ok_or_else(|| {
            Finding::error("these readings don't settle the machine's scales")
                .hint("give a width, a height and at least one diagonal")
        })?;
        let step: Vec<f64> = covariance.iter().map(|row| dot(row, &right)).collect();
        values.iter_mut().zip(&step).for_each(|(value, step)| *value += step);
        if step.iter().all(|step| step.abs() < 1e-14) {
            break;
        }
    }
    if values.iter().any(|value| !value.is_finite()) {
        return Err(Finding::error("these readings contradict each other").hint("measure the square again").into());
    }
    let free = observed.len() as f64 - count as f64;
    let birge = if free > 0.0 { (chi_square / free).max(1.0) } else { 1.0 };
    covariance.iter_mut().flatten().for_each(|entry| *entry *= birge);
    Ok(Fit { values, covariance, ladder_residual })
}

/// The length that the parameters give, and its slopes.
fn predicted(each: &Observed, breaks: &[f64], values: &[f64], leans: bool) -> (f64, Vec<f64>) {
    let spans = breaks.len();
    let overlaps = overlaps(breaks, each.along);
    let skew = if leans { values[spans + 1] } else { 0.0 };
    let (dx, dy) = (dot(&overlaps, &values[..spans]) + skew * each.up, values[spans] * each.up);
    let length = dx.hypot(dy);
    let mut slopes: Vec<f64> = overlaps.iter().map(|overlap| dx / length * overlap).collect();
    slopes.push(dy / length * each.up);
    if leans {
        slopes.push(dx / length * each.up);
    }
    (length, slopes)
}

/// Readings that contradict each other beyond their own resolution.
fn questions(nominal: &Nominal, readings: &Readings, fit: &Fit, breaks: &[f64], leans: bool) -> Vec<String> {
    let limit = readings.resolution.max(CONTRADICTION) * (1.0 + 1e-9);
    let mut questions = Vec::new();
    let groups = [
        ("widths", &readings.width),
        ("heights", &readings.height),
        ("first diagonals", &readings.diagonal),
        ("second diagonals", &readings.diagonal_2),
    ];
    for (name, values) in groups {
        let least = values.iter().copied().fold(f64::INFINITY, f64::min);
        let most = values.iter().copied().fold(0.0, f64::max);
        if most - least > limit {
            let [least, most] = [least, most].map(|value| trimmed(value, 2));
            questions.push(format!("the {name} {least} mm and {most} mm differ by more than the tape's marks explain"));
        }
    }
    for each in observed(nominal, readings) {
        let (length, _) = predicted(&each, breaks, &fit.values, leans);
        if (each.value - length).abs() > limit {
            let what = match (each.along > 0.0, each.up.total_cmp(&0.0)) {
                (true, std::cmp::Ordering::Greater) => "first diagonal",
                (true, std::cmp::Ordering::Less) => "second diagonal",
                (true, std::cmp::Ordering::Equal) => "width or a rung of the ladder",
                _ => "height",
            };
            let [read, fits] = [each.value, length].map(|value| trimmed(value, 2));
            questions.push(format!("the {what} of {read} mm does not fit the other readings: they make it {fits} mm"));
        }
    }
    questions
}

/// What may be left after the correction, at the worst place within the reach, mm: the known error that is not
/// corrected, and the uncertainty of the rest, for all places at once (Scheffé, Biometrika 40, 1953).
fn within(nominal: &Nominal, fit: &Fit, breaks: &[f64], leans: bool, corrected: [f64; 3], x: f64) -> f64 {
    let (spans, count) = (breaks.len(), fit.values.len());
    let factor = chi_square_95(count as f64).sqrt();
    let [along, up] = nominal.reach;
    let mut worst: f64 = 0.0;
    for place in breaks.iter().copied().filter(|place| *place < along).chain([along]) {
        for up in [0.0, up] {
            let overlaps = overlaps(breaks, place);
            let bias_x = if spans == 1 { (x - corrected[0]) * place } else { 0.0 }
                + if leans { (fit.values[spans + 1] - corrected[2]) * up } else { 0.0 };
            let bias_y = (fit.values[spans] - corrected[1]) * up;
            let mut toward_x = padded(&overlaps, count);
            let mut toward_y = vec![0.0; count];
            toward_y[spans] = up;
            if leans {
                toward_x[spans + 1] = up;
            }
            let [xx, yy] = [&toward_x, &toward_y].map(|g| quadratic(&fit.covariance, g));
            let xy = dot(&toward_y, &times(&fit.covariance, &toward_x));
            let spread = f64::midpoint(xx, yy) + ((xx - yy) / 2.0).hypot(xy);
            worst = worst.max(bias_x.hypot(bias_y) + factor * spread.sqrt());
        }
    }
    worst
}

/// The 95 % point of χ² (Wilson and Hilferty, PNAS 17, 1931; 1 % too small at one degree of freedom).
fn chi_square_95(freedom: f64) -> f64 {
    let a = 2.0 / (9.0 * freedom);
    freedom * (1.0 - a + 1.645 * a.sqrt()).powi(3)
}

/// One mark of the tape, as far as the readings show it: the coarsest usual division that all of them are multiples of,
/// mm. `inches` says for each whether it was given in inches.
pub fn resolution(readings: &[(f64, bool)]) -> f64 {
    const METRIC: [f64; 5] = [1.0, 0.5, 0.25, 0.2, 0.1];
    const INCHES: [f64; 4] = [8.0, 16.0, 32.0, 64.0];
    let decimals = |unit: f64| (1..=9).map(move |power| unit * 0.1_f64.powi(power));
    let metric: Vec<f64> = METRIC.into_iter().chain(decimals(0.1)).collect();
    let inches: Vec<f64> = INCHES.into_iter().map(|parts| INCH / parts).chain(decimals(INCH)).collect();
    let mark = |of_inches: bool, marks: &[f64]| {
        let values: Vec<f64> =
            readings.iter().filter(|(_, inch)| *inch == of_inches).map(|(value, _)| *value).collect();
        let fits = |mark: &&f64| values.iter().all(|value| ((value / **mark).round() * **mark - value).abs() < 1e-7);
        (!values.is_empty()).then(|| marks.iter().find(fits).or(marks.last()).copied()).flatten()
    };
    let found = [mark(false, &metric), mark(true, &inches)];
    found.into_iter().flatten().fold(f64::INFINITY, f64::min).min(50.0)
}

fn percent(scale: f64) -> String {
    format!("{} %", trimmed(scale * 100.0, 1))
}

fn mean(values: &[f64]) -> f64 {
    values.iter().sum::<f64>() / values.len() as f64
}

fn dot(a: &[f64], b: &[f64]) -> f64 {
    a.iter().zip(b).map(|(a, b)| a * b).sum()
}

fn padded(values: &[f64], count: usize) -> Vec<f64> {
    let mut values = values.to_vec();
    values.resize(count, 0.0);
    values
}

fn times(matrix: &[Vec<f64>], vector: &[f64]) -> Vec<f64> {
    matrix.iter().map(|row| dot(row, vector)).collect()
}

/// gᵀ C g.
fn quadratic(matrix: &[Vec<f64>], vector: &[f64]) -> f64 {
    dot(vector, &times(matrix, vector)).max(0.0)
}

/// The inverse of a symmetric positive matrix by Gauss and Jordan; `None` where it has none.
fn inverse(mut matrix: Vec<Vec<f64>>) -> Option<Vec<Vec<f64>>> {
    let count = matrix.len();
    let scale = matrix.iter().enumerate().map(|(i, row)| row[i].abs()).fold(0.0, f64::max);
    let mut result: Vec<Vec<f64>> =
        (0..count).map(|row| (0..count).map(|column| f64::from(u8::from(row == column))).collect()).collect();
    for pivot in 0..count {
        let best = (pivot..count).max_by(|a, b| matrix[*a][pivot].abs().total_cmp(&matrix[*b][pivot].abs()))?;
        matrix.swap(pivot, best);
        result.swap(pivot, best);
        let head = matrix[pivot][pivot];
        if head.is_nan() || head.abs() <= scale * 1e-14 {
            return None;
        }
        for both in [&mut matrix, &mut result] {
            both[pivot].iter_mut().for_each(|entry| *entry /= head);
        }
        for row in (0..count).filter(|row| *row != pivot) {
            let share = matrix[row][pivot];
            for both in [&mut matrix, &mut result] {
                let above = both[pivot].clone();
                both[row].iter_mut().zip(&above).for_each(|(entry, above)| *entry -= share * above);
            }
        }
    }
    Some(result)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn six_readings_on_300_mm_are_as_sure_as_the_reference_says() {
        // ±0.25 mm, uniform, on a square of 300 mm, each side and diagonal read: u(sx) = u(sy) = 2.9e-4, u(k) = 4.8e-4
        // (from memory: a simulation of 4,000 runs that is not kept here).
        let variance = 0.25_f64.powi(2) / 3.0;
        let each = |along, up| {
            let (dx, dy): (f64, f64) = (1.004 * along + 0.003 * up, 0.998 * up);
            Observed { value: dx.hypot(dy), variance, along, up }
        };
        let sides = [(300.0, 0.0), (300.0, 0.0), (0.0, 300.0), (0.0, 300.0), (300.0, 300.0), (300.0, -300.0)];
        let observed: Vec<Observed> = sides.into_iter().map(|(along, up)| each(along, up)).collect();
        let fit = least_squares(&observed, &[0.0], 1.0, 1.0).expect("solvable");
        for (value, wanted) in fit.values.iter().zip([1.004, 0.998, 0.003]) {
            assert!((value - wanted).abs() < 1e-12, "{value}, not {wanted}");
        }
        for (index, wanted) in [(0, 2.9e-4), (1, 2.9e-4), (2, 4.8e-4)] {
            let u = fit.covariance[index][index].sqrt();
            assert!((u - wanted).abs() < 0.06e-4 + 1e-9, "{index}: {u:e}");
        }
    }

    #[test]
    fn chi_square_as_in_the_tables() {
        // Abramowitz and Stegun, table 26.8, from memory: 3.841, 7.815, 11.070, 18.307.
        for (freedom, wanted) in [(1.0, 3.841), (3.0, 7.815), (5.0, 11.070), (10.0, 18.307)] {
            assert!((chi_square_95(freedom) / wanted - 1.0).abs() < 0.03, "{freedom}");
        }
    }

    #[test]
    fn a_tape_s_marks_show_in_its_readings() {
        let metric = |values: &[f64]| resolution(&values.iter().map(|v| (*v, false)).collect::<Vec<_>>());
        assert!((metric(&[599.0, 600.0]) - 1.0).abs() < 1e-12);
        assert!((metric(&[599.5, 600.0]) - 0.5).abs() < 1e-12);
        assert!((metric(&[599.2, 600.5]) - 0.1).abs() < 1e-12);
        assert!((metric(&[599.25, 600.5]) - 0.25).abs() < 1e-12);
        assert!(metric(&[599.123_456_7]) < 1e-5);
        let inch = |values: &[f64]| resolution(&values.iter().map(|v| (*v * INCH, true)).collect::<Vec<_>>());
        assert!((inch(&[23.5, 24.0]) - INCH / 8.0).abs() < 1e-12);
        assert!((inch(&[23.5, 23.562_5]) - INCH / 16.0).abs() < 1e-12);
        assert!((inch(&[23.6]) - INCH * 0.1).abs() < 1e-12);
    }
}
