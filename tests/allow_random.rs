//! Seeded outlines of all classes against the allowance region's definition.

mod allow_support;

use allow_support::{CLASSES, random_piece};
use oaktag::allow::{TOLERANCE, allow};
use std::collections::BTreeMap;

#[test]
#[ignore = "long"]
fn survey() {
    let n: u64 = std::env::var("N").ok().and_then(|n| n.parse().ok()).unwrap_or(500);
    for mixed in [false, true] {
        for class in CLASSES {
            let mut tally: BTreeMap<String, (usize, u64)> = BTreeMap::new();
            let mut segments = Vec::new();
            for seed in 0..n {
                let piece = random_piece(class, seed, mixed);
                let outcome = match std::panic::catch_unwind(|| allow(&piece, TOLERANCE)) {
                    Err(_) => "PANIC".to_owned(),
                    Ok(Ok((cut, findings))) => {
                        segments.push(cut.cut_line.segments().count());
                        findings.first().map_or("ok".to_owned(), |f| f.message.chars().take(70).collect())
                    }
                    Ok(Err(finding)) => {
                        let text = finding.message.clone();
                        let text = text.split(" at (").next().unwrap_or("").to_owned();
                        if text.contains("crosses") && !text.contains("cut line") { "refused".into() } else { text }
                    }
                };
                let entry = tally.entry(outcome).or_insert((0, seed));
                entry.0 += 1;
            }
            segments.sort_unstable();
            println!("{class:?} mixed={mixed}: {tally:?} median segments {:?}", segments.get(segments.len() / 2));
        }
    }
}

#[test]
#[ignore = "for looking at one"]
fn one() {
    let get = |name: &str| std::env::var(name).unwrap_or_default();
    let class = CLASSES[get("CLASS").parse::<usize>().unwrap_or(0)];
    let piece = random_piece(class, get("SEED").parse().unwrap_or(0), get("MIXED") == "1");
    for edge in &piece.edges {
        println!("{} {} {:?} {}", edge.name, edge.allowance, edge.corner, edge.path.to_svg());
    }
    match allow(&piece, TOLERANCE) {
        Ok((cut, _)) => println!("CUT {}", cut.cut_line.to_svg()),
        Err(finding) => println!("{finding}"),
    }
}

#[test]
#[ignore = "for looking at one"]
fn quick() {
    let piece = allow_support::bodice(12.7, oaktag::piece::Finish::Mitre);
    let mut best = f64::INFINITY;
    for _ in 0..400 {
        let start = std::time::Instant::now();
        for _ in 0..5 {
            std::hint::black_box(allow(&piece, TOLERANCE).is_ok());
        }
        best = best.min(start.elapsed().as_secs_f64() / 5.0);
    }
    println!("{:.1} µs", best * 1e6);
}
