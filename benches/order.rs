//! Travel and seconds of the path order on instances in a file:
//! `cargo bench --bench order -- FILE... [--seconds 1 | --kicks N] [--precedence] [--one-by-one] [--fixed-starts] [--seed N]
//! [--processor]
//! [--tours]`.
//!
//! A file is a JSON list of `[piece, level, closed, [[x, y], …]]`, mm. The round trip starts and ends at the origin.
//! Seconds are those of the processor that this thread had, where the system tells them, and of the clock;
//! `--processor` counts the budget in the former, for a busy machine.

use kurbo::{BezPath, Point};
use oaktag::order::tour::{Effort, Visit, tour, travel};
use std::time::Instant;

type Line = (usize, u32, bool, Vec<[f64; 2]>);

fn main() {
    let mut files = Vec::new();
    let mut effort = Effort { kicks: usize::MAX, ..Effort::default() };
    let (mut seconds, mut precedence, mut tours, mut by_processor) = (1.0, false, false, false);
    let mut words = std::env::args().skip(1);
    while let Some(word) = words.next() {
        let mut number = || -> f64 { words.next().and_then(|w| w.parse().ok()).expect("a number behind the option") };
        match &*word {
            "--bench" => {}
            "--seconds" => seconds = number(),
            "--kicks" => (effort.kicks, seconds) = (number() as usize, f64::INFINITY),
            "--processor" => by_processor = true,
            "--seed" => effort.seed = number() as u64,
            "--precedence" => precedence = true,
            "--one-by-one" => effort.one_by_one = true,
            "--fixed-starts" => effort.any_start = false,
            "--tours" => tours = true,
            file => files.push(file.to_string()),
        }
    }
    for file in files {
        let text = std::fs::read_to_string(&file).unwrap_or_else(|error| panic!("{file}: {error}"));
        let lines: Vec<Line> = serde_json::from_str(&text).unwrap_or_else(|error| panic!("{file}: {error}"));
        let visits = visits(&lines, precedence || effort.one_by_one, precedence);
        let given: Vec<_> = visits.iter().map(|visit| visit.path.clone()).enumerate().collect();
        let (began, worked) = (Instant::now(), processor());
        let mut spent = |done: f64| {
            let spent = if by_processor { processor() - worked } else { began.elapsed().as_secs_f64() };
            done.max(spent / seconds)
        };
        let stops = tour(&visits, Point::ORIGIN, &effort, &mut spent);
        let (clock, worked) = (began.elapsed().as_secs_f64(), processor() - worked);
        let broken = violations(&lines, &stops.iter().map(|stop| stop.0).collect::<Vec<_>>());
        println!(
            "{file}: {} paths, as given {:.0} mm, ordered {:.1} mm, {worked:.3} s processor, {clock:.3} s clock{}",
            lines.len(),
            travel(&given, Point::ORIGIN),
            travel(&stops, Point::ORIGIN),
            if precedence { format!(", {broken} violations") } else { String::new() },
        );
        if tours {
            println!("{:?}", stops.iter().map(|stop| stop.0).collect::<Vec<_>>());
        }
    }
}

fn visits(lines: &[Line], grouped: bool, levels: bool) -> Vec<Visit> {
    lines
        .iter()
        .map(|(piece, level, closed, points)| {
            let mut path = BezPath::new();
            for (index, [x, y]) in points.iter().enumerate() {
                if index == 0 { path.move_to((*x, *y)) } else { path.line_to((*x, *y)) }
            }
            if *closed {
                path.close_path();
            }
            Visit { group: grouped.then_some(*piece), level: if levels { *level } else { 0 }, ..Visit::alone(path) }
        })
        .collect()
}

/// Paths that come after one of their piece with a higher level.
fn violations(lines: &[Line], order: &[usize]) -> usize {
    let mut highest = std::collections::HashMap::new();
    order
        .iter()
        .filter(|index| {
            let (piece, level, ..) = lines[**index];
            let so_far = highest.entry(piece).or_insert(level);
            *so_far = level.max(*so_far);
            level < *so_far
        })
        .count()
}

/// Processor time of this thread so far, s (Linux, `/proc/thread-self/schedstat`); 0 elsewhere.
fn processor() -> f64 {
    std::fs::read_to_string("/proc/thread-self/schedstat")
        .ok()
        .and_then(|text| text.split_whitespace().next().and_then(|nanoseconds| nanoseconds.parse::<f64>().ok()))
        .unwrap_or(0.0)
        / 1e9
}
