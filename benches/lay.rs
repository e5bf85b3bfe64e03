//! Densities on instances of irregular strip packing: `cargo bench --bench lay -- FILE… --seconds 20 --seed 1 --threads 2`;
//! `--trials N` ends each thread's search after that many places tried, whatever the clock says.
//!
//! A file is JSON with `name`, `strip_height` and `items`, each with `demand`, `allowed_orientations` in degrees and
//! `shape.data`, a list of points. For each one line: name, density, seconds, and whether the lay is sound.

use geo::{Area, BooleanOps, LineString, Polygon};
use oaktag::lay::search::{Budget, Form, Item, Problem, left_bottom, search};
use serde_json::Value;
use std::time::Instant;

fn main() {
    let mut files = Vec::new();
    let (mut seconds, mut seed, mut threads, mut trials) = (20.0, 1, 2, None);
    let mut args = std::env::args().skip(1);
    while let Some(arg) = args.next() {
        let mut number = || args.next().and_then(|text| text.parse::<f64>().ok()).expect("a number");
        match &*arg {
            "--bench" => {}
            "--seconds" => seconds = number(),
            "--trials" => trials = Some(number() as u64),
            "--seed" => seed = number() as u64,
            "--threads" => threads = number() as usize,
            _ => files.push(arg),
        }
    }
    for file in files {
        let text = std::fs::read_to_string(&file).expect("a file");
        run(&serde_json::from_str(&text).expect("JSON"), seconds, trials, seed, threads);
    }
}

/// The corners, counter-clockwise, the last one not the first again.
fn corners(item: &Value) -> Vec<[f64; 2]> {
    let points = item["shape"]["data"].as_array().expect("points");
    let number = |point: &Value, axis: usize| point[axis].as_f64().expect("a number");
    let mut points: Vec<[f64; 2]> = points.iter().map(|point| [number(point, 0), number(point, 1)]).collect();
    if points.first() == points.last() {
        points.pop();
    }
    let polygon = polygon(&points, [0.0; 2]);
    if polygon.signed_area() < 0.0 {
        points.reverse();
    }
    points
}

fn polygon(points: &[[f64; 2]], at: [f64; 2]) -> Polygon {
    Polygon::new(LineString::from(points.iter().map(|p| (p[0] + at[0], p[1] + at[1])).collect::<Vec<_>>()), Vec::new())
}

fn run(instance: &Value, seconds: f64, trials: Option<u64>, seed: u64, threads: usize) {
    let began = Instant::now();
    let height = instance["strip_height"].as_f64().expect("a height");
    let (mut forms, mut items) = (Vec::new(), Vec::new());
    for item in instance["items"].as_array().expect("items") {
        let points = corners(item);
        let turns = item["allowed_orientations"]
            .as_array()
            .map_or(vec![0.0], |turns| turns.iter().map(|turn| turn.as_f64().expect("degrees")).collect());
        let first = forms.len();
        for turn in &turns {
            // Half turns exactly.
            let (sin, cos) =
                if turn % 180.0 == 0.0 { (0.0, 1.0 - turn % 360.0 / 90.0) } else { turn.to_radians().sin_cos() };
            let turned: Vec<[f64; 2]> = points.iter().map(|[x, y]| [x * cos - y * sin, x * sin + y * cos]).collect();
            forms.push(Form::new(&turned).0);
        }
        for (index, turn) in turns.iter().enumerate() {
            let twin = turns.iter().position(|other| ((other - turn).abs() - 180.0).abs() < 1e-9);
            forms[first + index].twin = twin.map(|twin| first + twin);
        }
        let demand = item["demand"].as_u64().expect("a count");
        items.extend((0..demand).map(|_| Item { forms: (first..forms.len()).collect(), across: None, locked: None }));
    }
    let problem = Problem::new(forms, items, height, 0.0, threads);
    let start = left_bottom(&problem, seed);
    let first = began.elapsed().as_secs_f64();
    let budget = Budget {
        evaluations: trials.unwrap_or(u64::MAX),
        seconds: trials.is_none().then_some(seconds - first),
        threads,
        seed,
        enough: 0.0,
    };
    let laid = search(&problem, start, &budget, &mut |_| true);
    let took = began.elapsed().as_secs_f64();
    let shapes: Vec<Polygon> =
        laid.places.iter().map(|place| polygon(&problem.forms[place.form].points, [place.x, place.y])).collect();
    let sound = shapes.iter().enumerate().all(|(index, a)| {
        use geo::BoundingRect;
        let inside = a.bounding_rect().is_some_and(|bounds| {
            let [low, high] = [bounds.min(), bounds.max()];
            low.x >= -1e-9 && low.y >= -1e-9 && high.x <= laid.length + 1e-9 && high.y <= height + 1e-9
        });
        inside && shapes[..index].iter().all(|b| a.intersection(b).unsigned_area() == 0.0)
    });
    println!(
        "{} {:.2} % {took:.1} s, first lay after {first:.2} s, {}",
        instance["name"].as_str().unwrap_or("unnamed"),
        100.0 * problem.area() / height / laid.length,
        if sound { "no overlap" } else { "OVERLAPS" }
    );
}
