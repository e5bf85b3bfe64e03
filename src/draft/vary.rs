//! A length varied between limits until another comes right: the cap raised until it fits its armhole.

use super::Drafter;
use crate::diag::Result;
use crate::style::Vary;
use crate::style::formula::Quantity;
use crate::units::format_length;

/// The watched length comes right within this, mm: far under the walk's tolerance of 0.5 mm.
const CLOSE: f64 = 1e-6;

/// Halvings until a span of 10 m is under 1e-9 mm.
const ROUNDS: usize = 60;

/// Finds the length. The watched length may rise or fall with it, and is taken to do one of the two.
pub(super) fn solve(drafter: &mut Drafter<'_>, vary: &Vary) -> Result<f64> {
    let what = format!("{}\"{}\"", drafter.body.words(), vary.name.text);
    drafter.step(what, &vary.name, |drafter| {
        let (low, high) = (vary.least.length(drafter)?, vary.most.length(drafter)?);
        let unit = drafter.style.unit;
        // A piece that was fitted no longer follows the length: that stays what it was before the fitting.
        let is_fitted = drafter.watches_fitted(&vary.until);
        // What does not hang on the varied length is worked out once, here, and kept for every trial.
        if !is_fitted {
            let _ = vary.comes_to.length(drafter);
        }
        if low >= high {
            return Err(vary.most.source().error("the greatest value is not over the least").into());
        }
        let miss = |value: f64| -> Result<(f64, f64)> {
            // In a trial the length is known, so a step that waits for it outside may be carried out inside.
            let mut trial = Drafter { pending: Vec::new(), ..drafter.clone() };
            if is_fitted {
                trial.fitted.clear();
            }
            let body = trial.body.index();
            trial.settled[body].insert(vary.name.text.clone(), Quantity::length(value));
            let got = vary.until.length(&mut trial)?;
            let wanted = vary.comes_to.length(&mut trial)?;
            Ok((got - wanted, got))
        };
        let (mut a, (mut miss_a, got_a)) = nearest_drawn(low, high, &miss)?;
        let (mut b, (mut miss_b, got_b)) = nearest_drawn(high, low, &miss)?;
        if miss_a * miss_b > 0.0 {
            let least_wrong = if miss_a.abs() < miss_b.abs() { (a, got_a, miss_a) } else { (b, got_b, miss_b) };
            let (value, got, off) = least_wrong;
            let message = format!(
                "between {} and {} \"{}\" never comes right: at {} the watched length is {}, {} too {}",
                format_length(low, unit),
                format_length(high, unit),
                vary.name.text,
                format_length(value, unit),
                format_length(got, unit),
                format_length(off.abs(), unit),
                if off > 0.0 { "long" } else { "short" }
            );
            return Err(vary.name.error(message).hint("widen its limits, or change what it must come to").into());
        }
        for (value, miss) in [(a, miss_a), (b, miss_b)] {
            if miss.abs() < CLOSE {
                return Ok(value);
            }
        }
        // Regula falsi with the Illinois weights (Dowell and Jarratt, BIT 11, 1971), now and then a halving, so that it
        // can't crawl.
        for round in 0..ROUNDS {
            let falsi = b - miss_b * (b - a) / (miss_b - miss_a);
            let next = if round % 8 == 7 || !falsi.is_finite() { f64::midpoint(a, b) } else { falsi };
            let (miss_next, _) = miss(next)?;
            if miss_next.abs() < CLOSE || (next - b).abs() < 1e-9 {
                return Ok(next);
            }
            if miss_next * miss_b < 0.0 {
                (a, miss_a) = (b, miss_b);
            } else {
                miss_a /= 2.0;
            }
            (b, miss_b) = (next, miss_next);
        }
        Ok(b)
    })
}

/// A limit, or where nothing can be drawn there, the first place on the way to the other limit where it can: a dart that
/// finds no room at the very end of the range is no reason to refuse what lies within.
fn nearest_drawn<T>(limit: f64, other: f64, miss: &dyn Fn(f64) -> Result<T>) -> Result<(f64, T)> {
    const STEPS: u32 = 16;
    let mut first = None;
    for step in 0..STEPS {
        let value = limit + (other - limit) * f64::from(step) / f64::from(STEPS);
        match miss(value) {
            Ok(found) => return Ok((value, found)),
            Err(finding) => first = first.or(Some(finding)),
        }
    }
    // Nothing can be drawn anywhere: the limit's own reason is said.
    match first {
        Some(finding) => Err(finding),
        None => miss(limit).map(|found| (limit, found)),
    }
}
