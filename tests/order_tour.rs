//! The tour through a tool's paths, on generated instances: never longer than as given, nothing lost, nothing early.

use kurbo::{BezPath, Point, Vec2};
use oaktag::order::tour::{Effort, Stop, Visit, tour, travel};
use std::collections::HashMap;

/// The 64-bit linear congruential generator of Knuth's MMIX.
struct Random(u64);

impl Random {
    fn between(&mut self, low: f64, high: f64) -> f64 {
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        low + (high - low) * (self.0 >> 11) as f64 / (1_u64 << 53) as f64
    }

    fn below(&mut self, count: usize) -> usize {
        (self.between(0.0, count as f64) as usize).min(count - 1)
    }
}

/// Open strokes, rings and outlines of some pieces, and strokes of no piece; some of them coincide, some are points.
fn instance(random: &mut Random, count: usize) -> Vec<Visit> {
    let pieces = 1 + count / 20;
    let middles: Vec<Point> =
        (0..pieces).map(|_| Point::new(random.between(0.0, 3000.0), random.between(0.0, 900.0))).collect();
    (0..count)
        .map(|_| {
            let piece = random.below(pieces);
            let middle = middles[piece] + Vec2::new(random.between(-80.0, 80.0), random.between(-80.0, 80.0));
            let mut path = BezPath::new();
            path.move_to(middle);
            let level = match random.below(10) {
                0 => 2,
                1 => 1,
                _ => 0,
            };
            if level > 0 || random.below(5) == 0 {
                (0..=random.below(8)).for_each(|_| {
                    path.line_to(middle + Vec2::new(random.between(-50.0, 50.0), random.between(-50.0, 50.0)));
                });
                path.close_path();
            } else if random.below(20) > 0 {
                path.line_to(middle + Vec2::new(random.between(-9.0, 9.0), random.between(-9.0, 9.0)));
            }
            Visit { group: (random.below(8) > 0).then_some(piece), level, ..Visit::alone(path) }
        })
        .collect()
}

/// As given, later levels put off until they may come: told here by sorting each group's places by level.
fn as_given(visits: &[Visit]) -> Vec<Stop> {
    let mut left: HashMap<(usize, u32), usize> = HashMap::new();
    for visit in visits {
        if let Some(group) = visit.group {
            *left.entry((group, visit.level)).or_insert(0) += 1;
        }
    }
    let mut waiting: Vec<usize> = Vec::new();
    let mut stops = Vec::new();
    for next in 0..visits.len() {
        waiting.push(next);
        while let Some(at) = waiting.iter().position(|index| {
            let visit = &visits[*index];
            visit.group.is_none_or(|group| (0..visit.level).all(|l| left.get(&(group, l)).is_none_or(|n| *n == 0)))
        }) {
            let index = waiting.remove(at);
            if let Some(group) = visits[index].group {
                *left.get_mut(&(group, visits[index].level)).expect("counted") -= 1;
            }
            stops.push((index, visits[index].path.clone()));
        }
    }
    stops
}

/// As given, but each group brought together where it first appears, lower levels first.
fn in_groups(visits: &[Visit]) -> Vec<Stop> {
    let first = |index: usize| {
        let group = visits[index].group;
        group.map_or(index, |_| visits.iter().position(|v| v.group == group).expect("itself"))
    };
    let mut order: Vec<usize> = (0..visits.len()).collect();
    order.sort_by_key(|index| (first(*index), visits[*index].level));
    order.into_iter().map(|index| (index, visits[index].path.clone())).collect()
}

/// How many come after one of their group with a higher level.
fn violations(visits: &[Visit], order: &[usize]) -> usize {
    let mut highest: HashMap<usize, u32> = HashMap::new();
    order
        .iter()
        .filter(|index| {
            let visit = &visits[**index];
            let Some(group) = visit.group else { return false };
            let so_far = highest.entry(group).or_insert(visit.level);
            *so_far = visit.level.max(*so_far);
            visit.level < *so_far
        })
        .count()
}

fn order_of(stops: &[Stop]) -> Vec<usize> {
    stops.iter().map(|stop| stop.0).collect()
}

fn quick(kicks: usize) -> Effort {
    Effort { kicks, ..Effort::default() }
}

#[test]
fn a_thousand_instances_are_never_longer_than_as_given() {
    let mut random = Random(7);
    let (mut given_sum, mut sum, mut caught) = (0.0, 0.0, 0);
    for round in 0..1000 {
        let count = 1 + random.below(if round % 50 == 0 { 400 } else { 60 });
        let visits = instance(&mut random, count);
        let effort = Effort { one_by_one: round % 3 == 0, any_start: round % 4 > 0, ..quick(50) };
        let stops = tour(&visits, Point::ORIGIN, &effort, &mut |done| done);
        let mut order = order_of(&stops);
        assert_eq!(violations(&visits, &order), 0);
        let given = if effort.one_by_one { in_groups(&visits) } else { as_given(&visits) };
        let (before, after) = (travel(&given, Point::ORIGIN), travel(&stops, Point::ORIGIN));
        assert!(after <= before + 1e-6, "{after} > {before}");
        (given_sum, sum) = (given_sum + before, sum + after);
        // The check sees a tour turned round.
        order.reverse();
        caught += usize::from(violations(&visits, &order) > 0);
        order.sort_unstable();
        assert!(order.iter().copied().eq(0..count), "a path is lost or done twice");
    }
    println!("{given_sum:.0} mm as given, {sum:.0} mm ordered, {caught} turned round and caught");
    assert!(sum < 0.7 * given_sum && caught > 500);
}

#[test]
fn every_path_keeps_its_shape() {
    let visits = instance(&mut Random(3), 300);
    let stops = tour(&visits, Point::ORIGIN, &quick(500), &mut |done| done);
    let corners = |path: &BezPath| {
        let mut corners: Vec<[i64; 2]> = path
            .segments()
            .map(|s| {
                use kurbo::ParamCurve;
                let [a, b] = [s.start(), s.end()].map(|p| [(p.x * 1e6) as i64, (p.y * 1e6) as i64]);
                [a[0].wrapping_add(b[0]), a[1].wrapping_add(b[1])]
            })
            .collect();
        corners.sort_unstable();
        corners
    };
    for (index, path) in &stops {
        assert_eq!(corners(path), corners(&visits[*index].path));
        assert_eq!(oaktag::geom::path::is_closed(path), oaktag::geom::path::is_closed(&visits[*index].path));
    }
    assert!(
        stops.iter().any(|(index, path)| *path != visits[*index].path),
        "some are turned round or started elsewhere"
    );
}

#[test]
fn same_input_same_tour_and_the_caller_can_stop_it() {
    let visits = instance(&mut Random(4), 500);
    let run = |seed| tour(&visits, Point::ORIGIN, &Effort { seed, ..quick(3000) }, &mut |done| done);
    let first = run(1);
    assert_eq!(first, run(1));
    assert_ne!(order_of(&first), order_of(&run(2)), "the seed matters");
    let mut told = Vec::new();
    tour(&visits, Point::ORIGIN, &quick(3000), &mut |done| {
        told.push(done);
        done
    });
    assert!(told.windows(2).all(|pair| pair[0] <= pair[1]) && told.iter().all(|done| (0.0..=1.0).contains(done)));
    assert!(told.len() > 20, "{}", told.len());
    let stopped = tour(&visits, Point::ORIGIN, &quick(3000), &mut |_| 1.0);
    assert_eq!(stopped.len(), visits.len());
    assert_eq!(violations(&visits, &order_of(&stopped)), 0);
    assert!(travel(&first, Point::ORIGIN) < travel(&stopped, Point::ORIGIN));
}

#[test]
fn groups_one_by_one_are_not_begun_twice() {
    let visits: Vec<Visit> =
        instance(&mut Random(8), 400).into_iter().map(|v| Visit { group: v.group.or(Some(0)), ..v }).collect();
    let changes = |effort: &Effort| {
        let order = order_of(&tour(&visits, Point::ORIGIN, effort, &mut |done| done));
        1 + order.windows(2).filter(|pair| visits[pair[0]].group != visits[pair[1]].group).count()
    };
    let groups: std::collections::BTreeSet<_> = visits.iter().map(|v| v.group).collect();
    assert_eq!(changes(&Effort { one_by_one: true, ..quick(3000) }), groups.len());
    assert!(changes(&quick(3000)) > groups.len());
}
