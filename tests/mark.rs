//! Marks on made-up pieces of many sizes, judged by the `geo` crate (an implementation other than the project's own).
//! Every check is also run on a seeded fault, which it must find.

mod common;
mod mark_blocks;
mod mark_pieces;
mod mark_words;

use geo::{Contains, Distance, Euclidean, Point as GeoPoint, Polygon};
use kurbo::{Affine, BezPath, Point, Shape, Vec2};
use mark_pieces::{bodice, flap, flat, heading, net, notch, piece, polygon, rectangle, sleeve, strip, with_allowance};
use oaktag::allow::CutPiece;
use oaktag::diag::{Finding, Severity};
use oaktag::mark::{Heading, MarkedPiece, Stroke, mark};
use oaktag::piece::{NotchKind, Piece};
use oaktag::role::Role;

const EIGHTH: f64 = 25.4 / 8.0;
const QUARTER: f64 = 25.4 / 4.0;

/// The points of a path, no two further apart than half a millimetre.
fn dense(path: &BezPath) -> Vec<GeoPoint> {
    let points = flat(path, 0.005);
    let mut dense = Vec::new();
    for pair in points.windows(2) {
        let steps = (pair[0].distance(pair[1]) / 0.5).ceil().max(1.0) as usize;
        dense.extend((0..=steps).map(|i| pair[0].lerp(pair[1], i as f64 / steps as f64)));
    }
    dense.into_iter().map(|p| GeoPoint::new(p.x, p.y)).collect()
}

/// How far a path reaches outside a polygon, mm.
fn outside(path: &BezPath, polygon: &Polygon) -> f64 {
    dense(path)
        .iter()
        .filter(|p| !polygon.contains(*p))
        .map(|p| Euclidean.distance(p, polygon.exterior()))
        .fold(0.0, f64::max)
}

/// Least distance from a path to a polygon's edge, mm.
fn to_edge(path: &BezPath, polygon: &Polygon) -> f64 {
    dense(path).iter().map(|p| Euclidean.distance(p, polygon.exterior())).fold(f64::INFINITY, f64::min)
}

fn apart(a: &BezPath, b: &BezPath) -> f64 {
    let (a, b) = (dense(a), dense(b));
    a.iter().flat_map(|p| b.iter().map(move |q| Euclidean.distance(p, q))).fold(f64::INFINITY, f64::min)
}

fn role(marked: &MarkedPiece, role: Role) -> Vec<&Stroke> {
    marked.strokes.iter().filter(|stroke| stroke.role == role).collect()
}

/// All that is wrong with a marked piece.
fn faults(cut: &CutPiece, marked: &MarkedPiece) -> Vec<String> {
    let mut faults = Vec::new();
    faults.extend(crossing(marked));
    faults.extend(grain(&cut.piece, marked));
    faults.extend(label(&cut.piece, marked));
    faults.extend(notches(cut, marked));
    faults
}

/// Nothing crosses the cut line; there is one cut stroke, and it is the outline.
fn crossing(marked: &MarkedPiece) -> Vec<String> {
    let cut = polygon(&marked.outline);
    let mut faults: Vec<String> = marked
        .strokes
        .iter()
        .filter(|stroke| stroke.role != Role::Cut)
        .filter_map(|stroke| {
            let out = outside(&stroke.path, &cut);
            (out > 0.02).then(|| format!("a {} stroke reaches {out:.3} mm outside the cut line", stroke.role.name()))
        })
        .collect();
    let cuts = role(marked, Role::Cut);
    if cuts.len() != 1 || cuts[0].path != marked.outline || marked.outline.area() <= 0.0 {
        faults.push("the cut line is not one counter-clockwise stroke".into());
    }
    faults
}

/// The grain is parallel to the piece's own and inside the sew line.
fn grain(piece: &Piece, marked: &MarkedPiece) -> Vec<String> {
    let (wanted, drawn) = (piece.grain[1] - piece.grain[0], marked.grain[1] - marked.grain[0]);
    let mut faults = Vec::new();
    if wanted.cross(drawn).abs() > 1e-9 * wanted.hypot() * drawn.hypot() || wanted.dot(drawn) <= 0.0 {
        faults.push("the grain has turned".into());
    }
    let strokes = role(marked, Role::Grain);
    if let Some(shaft) = strokes.first() {
        let ends = flat(&shaft.path, 0.01);
        if ends != marked.grain {
            faults.push("the grain that is drawn is not the one that is told".into());
        }
    }
    let sew = polygon(&piece.outline());
    if strokes.iter().any(|stroke| outside(&stroke.path, &sew) > 0.0) {
        faults.push("the grain leaves the sew line".into());
    }
    faults
}

/// All writing lies inside the sew line and clear of everything else.
fn label(piece: &Piece, marked: &MarkedPiece) -> Vec<String> {
    let sew = polygon(&piece.outline());
    let mut faults = Vec::new();
    let others: Vec<&Stroke> = marked
        .strokes
        .iter()
        .filter(|stroke| !matches!(stroke.role, Role::Label | Role::Cut | Role::Sew | Role::Notch))
        .collect();
    for stroke in role(marked, Role::Label) {
        if outside(&stroke.path, &sew) > 0.0 {
            faults.push("writing leaves the sew line".into());
        }
        if to_edge(&stroke.path, &sew) < 0.2 {
            faults.push("writing touches the sew line".into());
        }
        let near = stroke.path.bounding_box().inflate(1.0, 1.0);
        for other in &others {
            if near.overlaps(other.path.bounding_box()) && apart(&stroke.path, &other.path) < 0.2 {
                faults.push(format!("writing lies on a {} stroke", other.role.name()));
            }
        }
    }
    faults
}

/// Every cut notch starts on the cut line on the normal of its sew point, no cut comes within 3 mm of the sew line, and
/// none is deeper than a quarter inch (common practice, no source).
fn notches(cut: &CutPiece, marked: &MarkedPiece) -> Vec<String> {
    let sew = polygon(&cut.piece.outline());
    let cut_line = polygon(&cut.cut_line);
    let mut faults = Vec::new();
    for stroke in role(marked, Role::Notch) {
        let wide = cut.piece.edge(&stroke.edge).is_some_and(|edge| edge.allowance > 0.0);
        if wide && to_edge(&stroke.path, &sew) < 3.0 {
            faults.push("a notch comes within 3 mm of the sew line".into());
        }
        // The depth is that of the cut from the cut line; the bar of a T, which starts inside, runs along it.
        let depth = |p: &GeoPoint| Euclidean.distance(p, cut_line.exterior());
        let points = dense(&stroke.path);
        let deepest = if depth(&points[0]) < 0.02 { points.iter().map(depth).fold(0.0, f64::max) } else { 0.0 };
        if deepest > QUARTER + 0.01 {
            faults.push(format!("a notch is {deepest:.2} mm deep"));
        }
    }
    for wanted in cut.piece.notches.iter().filter(|n| n.count == 1 && n.kind == NotchKind::Slit) {
        let edge = cut.piece.edge(&wanted.edge).expect("the edge");
        let (at, along) = walked(&edge.path, wanted.at);
        let normal = Vec2::new(along.y, -along.x);
        let here: Vec<&Stroke> = marked
            .strokes
            .iter()
            .filter(|s| {
                s.edge == wanted.edge && matches!(s.role, Role::Notch | Role::Line) && s.path.segments().count() == 1
            })
            .collect();
        let right = here.iter().any(|stroke| {
            let foot = flat(&stroke.path, 0.01)[0];
            normal.cross(foot - at).abs() < 0.05
                && normal.dot(foot - at) > -0.01
                && Euclidean.distance(&GeoPoint::new(foot.x, foot.y), cut_line.exterior()) < 0.02
        });
        if !right {
            faults.push(format!("the notch on {} has no stroke at its normal foot", wanted.edge));
        }
    }
    faults
}

/// Point and direction at a distance along a path, walked over chords of 0.01 mm sagitta or less.
fn walked(path: &BezPath, distance: f64) -> (Point, Vec2) {
    let mut left = distance;
    let points = flat(path, 1e-4);
    for pair in points.windows(2) {
        let long = pair[0].distance(pair[1]);
        if left <= long {
            return (pair[0].lerp(pair[1], left / long), (pair[1] - pair[0]).normalize());
        }
        left -= long;
    }
    let n = points.len();
    (points[n - 1], (points[n - 1] - points[n - 2]).normalize())
}

fn marked(cut: &CutPiece) -> (MarkedPiece, Vec<Finding>) {
    mark(cut, &heading()).expect("marks")
}

/// A linear congruential generator (Knuth, MMIX constants, from memory); the pieces are the same on every run.
struct Dice(u64);

impl Dice {
    fn between(&mut self, low: f64, high: f64) -> f64 {
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        low + (high - low) * (self.0 >> 11) as f64 / (1u64 << 53) as f64
    }
}

/// A four-sided piece with bent sides, notches, drill holes and a slanting grain.
fn generated(dice: &mut Dice, i: u32) -> CutPiece {
    let w = 15.0 * 100.0_f64.powf(dice.between(0.0, 1.0));
    let h = 15.0 * 30.0_f64.powf(dice.between(0.0, 1.0));
    let bend = |dice: &mut Dice, size: f64| dice.between(-0.15, 0.15) * size.min(w).min(h);
    let (a, b, c, d) = (bend(dice, w), bend(dice, h), bend(dice, w), bend(dice, h));
    let paths = [
        format!("M0 0 C{} {a} {} {a} {w} 0", w / 3.0, 2.0 * w / 3.0),
        format!("M{w} 0 C{} {} {} {} {w} {h}", w + b, h / 3.0, w + b, 2.0 * h / 3.0),
        format!("M{w} {h} C{} {} {} {} 0 {h}", 2.0 * w / 3.0, h + c, w / 3.0, h + c),
        format!("M0 {h} C{d} {} {d} {} 0 0", 2.0 * h / 3.0, h / 3.0),
    ];
    let names = ["hem", "side seam", "top", "placket"];
    let edges: Vec<(&str, &str)> = names.iter().zip(&paths).map(|(name, path)| (*name, &**path)).collect();
    let turn = Vec2::from_angle(dice.between(0.0, std::f64::consts::TAU)) * (0.2 * w.min(h));
    let middle = Point::new(w / 2.0, h / 2.0);
    let (tail, head) = (middle - turn, middle + turn);
    let mut made = piece(&format!("Piece {i}"), &edges, 0.0, [(tail.x, tail.y), (head.x, head.y)]);
    let kinds = [NotchKind::Slit, NotchKind::Slit, NotchKind::VIn, NotchKind::VOut, NotchKind::T, NotchKind::Drawn];
    for (name, long) in names.iter().zip([w, h, w, h]) {
        let kind = kinds[dice.between(0.0, 6.0) as usize];
        let count = if dice.between(0.0, 1.0) < 0.3 { 2 } else { 1 };
        made.notches.push(notch(name, dice.between(0.0, long), kind, count));
    }
    made.drills = vec![Point::new(dice.between(0.3, 0.7) * w, dice.between(0.3, 0.7) * h)];
    let width = [0.0, 4.0, 6.35, 9.525, 12.7, 25.4][dice.between(0.0, 6.0) as usize];
    with_allowance(made, width)
}

#[test]
fn known_pieces_are_marked_without_fault() {
    for cut in [
        with_allowance(flap(), 6.35),
        with_allowance(strip(), 9.525),
        with_allowance(sleeve(), 12.7),
        with_allowance(bodice(), 12.7),
        net(bodice()),
    ] {
        let (marked, findings) = marked(&cut);
        assert_eq!(faults(&cut, &marked), Vec::<String>::new(), "{}", marked.name);
        let loud = findings.iter().filter(|f| f.severity > Severity::Note && !f.message.contains("drawn and not cut"));
        assert_eq!(loud.count(), 0, "{}: {findings:?}", marked.name);
        assert!(!role(&marked, Role::Grain).is_empty() && role(&marked, Role::Label).len() > 60);
    }
}

#[test]
fn pieces_of_many_sizes_are_marked_without_fault() {
    let mut dice = Dice(20);
    let mut labelled = 0;
    for i in 0..160 {
        let cut = generated(&mut dice, i);
        let (marked, findings) = marked(&cut);
        assert_eq!(faults(&cut, &marked), Vec::<String>::new(), "piece {i}: {}", cut.piece.outline().to_svg());
        let writes = marked.strokes.iter().any(|stroke| stroke.role == Role::Label && stroke.edge.is_empty());
        let warned = findings.iter().any(|f| f.message.contains("label"));
        assert!(writes || warned, "piece {i} has no label and says nothing");
        labelled += usize::from(writes && !warned);
    }
    assert!(labelled > 100, "only {labelled} of 160 have their whole label");
}

/// A change that spoils the strokes of a role, and what the checks must say of it.
type Spoil = (Role, fn(&BezPath) -> BezPath, &'static str);

#[test]
fn seeded_faults_are_found() {
    let cut = with_allowance(sleeve(), 12.7);
    let (good, _) = marked(&cut);
    assert!(faults(&cut, &good).is_empty());
    let found = |bad: &MarkedPiece, says: &str| {
        let faults = faults(&cut, bad);
        assert!(faults.iter().any(|fault| fault.contains(says)), "{says}: not among {faults:?}");
    };
    let spoils: [Spoil; 9] = [
        (Role::Label, |p| Affine::translate((400.0, 0.0)) * p.clone(), "writing leaves the sew line"),
        (Role::Label, |p| Affine::translate((60.0, 0.0)) * p.clone(), "writing lies on a grain stroke"),
        (Role::Notch, |p| Affine::translate((0.7, 0.7)) * p.clone(), "no stroke at its normal foot"),
        (Role::Notch, |p| scaled_about_start(p, 1.7), "within 3 mm of the sew line"),
        (Role::Notch, |p| scaled_about_start(p, 1.1), "a notch is 6.9"),
        (Role::Grain, |p| Affine::translate((1.0, 0.0)) * p.clone(), "not the one that is told"),
        (Role::Grain, |p| Affine::translate((170.0, 0.0)) * p.clone(), "the grain leaves"),
        (Role::Line, |p| Affine::scale_non_uniform(1.2, 1.0) * p.clone(), "outside the cut line"),
        (Role::Cut, BezPath::reverse_subpaths, "not one counter-clockwise stroke"),
    ];
    for (spoiled, spoil, says) in spoils {
        let mut bad = good.clone();
        for stroke in bad.strokes.iter_mut().filter(|stroke| stroke.role == spoiled) {
            stroke.path = spoil(&stroke.path);
        }
        found(&bad, says);
    }
    let mut turned = good.clone();
    let about = turned.grain[0];
    turned.grain[1] = Affine::rotate_about(0.001, about) * turned.grain[1];
    found(&turned, "the grain has turned");
    let mut lost = good.clone();
    lost.strokes.retain(|stroke| stroke.role != Role::Notch);
    found(&lost, "no stroke at its normal foot");
}

fn scaled_about_start(path: &BezPath, scale: f64) -> BezPath {
    let start = flat(path, 0.01)[0];
    Affine::scale_about(scale, start) * path.clone()
}

/// Depth of the slit in the middle of a rectangle's top edge, mm, and whether it is told to be short or drawn.
fn slit(width: f64, net_block: bool) -> (Option<f64>, bool) {
    let mut plain = rectangle("Yoke", 200.0, 120.0, width);
    plain.notches = vec![notch("top", 60.0, NotchKind::Slit, 1)];
    let heading = Heading { net_block, ..heading() };
    let (marked, findings) = mark(&with_allowance(plain, width), &heading).expect("marks");
    let strokes = role(&marked, Role::Notch);
    let depth = strokes.first().map(|stroke| {
        let [foot, tip] = flat(&stroke.path, 0.01)[..] else { panic!("a slit has two ends") };
        // The edge runs from x = 200 to x = 0, so 60 mm along it is x = 140.
        assert!((foot.x - 140.0).abs() < 1e-6 && (tip.x - 140.0).abs() < 1e-6);
        assert!((foot.y - 120.0 - width).abs() < 1e-6, "on the cut line");
        foot.y - tip.y
    });
    (depth, findings.iter().any(|f| f.severity == Severity::Warning && f.edge.as_deref() == Some("top")))
}

#[test]
fn notch_depths_follow_the_allowance() {
    // ⅛ to ¼ in deep, ending at least ⅛ in short of the sew line (common practice, no source).
    for (width, depth) in [(25.4, QUARTER), (12.7, QUARTER), (9.525, 4.7625), (6.35, EIGHTH)] {
        let (made, warned) = slit(width, false);
        assert!((made.expect("a slit") - depth).abs() < 1e-3 && !warned, "{width}: {made:?}");
    }
    // Narrower, it stays ⅛ in away from the sew line and says that it is short.
    let (made, warned) = slit(5.0, false);
    assert!((made.expect("a slit") - (5.0 - EIGHTH)).abs() < 1e-3 && warned, "{made:?}");
    assert_eq!(slit(4.0, false), (None, true), "too narrow: drawn, and said");
    let mut double = rectangle("Yoke", 200.0, 120.0, 4.0);
    double.notches = vec![notch("top", 60.0, NotchKind::Slit, 2)];
    let said = marked(&with_allowance(double, 4.0)).1.iter().filter(|f| f.edge.as_deref() == Some("top")).count();
    assert_eq!(said, 1, "a double notch says it once");
    assert_eq!(slit(0.0, false), (None, true), "nothing is cut into a garment's sew line");
    let (made, warned) = slit(0.0, true);
    assert!((made.expect("a net block is notched inward") - QUARTER).abs() < 1e-6 && !warned);
}

#[test]
fn a_notch_outward_becomes_part_of_the_cut_line() {
    let mut plain = rectangle("Yoke", 200.0, 120.0, 12.7);
    plain.notches = vec![notch("top", 60.0, NotchKind::VOut, 2)];
    let cut = with_allowance(plain, 12.7);
    let (marked, findings) = marked(&cut);
    assert!(findings.is_empty(), "{findings:?}");
    // Two triangles (geometry): base ¾ of the depth, ½ · base · depth each.
    let gained = marked.outline.area() - cut.cut_line.area();
    assert!((gained - 2.0 * 0.5 * 0.75 * QUARTER * QUARTER).abs() < 1e-6, "{gained}");
    let tips: Vec<Point> = flat(&marked.outline, 0.01).into_iter().filter(|p| p.y > 120.0 + 12.7 + 1.0).collect();
    assert_eq!(tips.len(), 2);
    assert!((tips[0].distance(tips[1]) - QUARTER).abs() < 1e-6, "a quarter inch apart");
    assert!((tips[0].midpoint(tips[1]).x - 140.0).abs() < 1e-6, "about the notch's place");
    assert!(role(&marked, Role::Notch).is_empty());
    // The seeded fault: the bare cut line has no tips.
    assert!(flat(&cut.cut_line, 0.01).iter().all(|p| p.y < 120.0 + 12.7 + 1.0));
}

#[test]
fn shapes_of_notches() {
    let strokes = |kind, count| {
        let mut plain = rectangle("Yoke", 200.0, 120.0, 12.7);
        plain.notches = vec![notch("top", 60.0, kind, count)];
        marked(&with_allowance(plain, 12.7)).0
    };
    let v = strokes(NotchKind::VIn, 1);
    let points = flat(&role(&v, Role::Notch)[0].path, 0.01);
    assert!((points[0].distance(points[2]) - 0.75 * QUARTER).abs() < 1e-6 && (points[1].x - 140.0).abs() < 1e-6);
    assert!((points[0].y - 132.7).abs() < 1e-6 && (132.7 - points[1].y - QUARTER).abs() < 1e-6);
    assert_eq!(role(&strokes(NotchKind::T, 1), Role::Notch).len(), 2);
    assert_eq!(role(&strokes(NotchKind::Slit, 2), Role::Notch).len(), 2);
    // A drawn notch has no stroke that a knife would get.
    let drawn = strokes(NotchKind::Drawn, 1);
    assert!(role(&drawn, Role::Notch).is_empty());
    assert_eq!(role(&drawn, Role::Line).iter().filter(|stroke| stroke.edge == "top").count(), 2);
}

#[test]
fn sew_line_and_fold() {
    let (front, _) = marked(&with_allowance(bodice(), 12.7));
    assert!(front.on_fold);
    let sewn: Vec<&str> = role(&front, Role::Sew).iter().map(|stroke| &*stroke.edge).collect();
    assert_eq!(sewn, ["waist", "side", "armhole", "shoulder", "neckline"], "the fold is not sewn");
    assert!(role(&marked(&net(bodice())).0, Role::Sew).is_empty(), "a net block's sew line is its cut line");
    // The bracket's back is farther from the fold at x = 0 than its arrows, which stand off it.
    let bracket = flat(&role(&front, Role::Fold)[0].path, 0.01);
    assert_eq!(bracket.len(), 4);
    assert!(bracket[0].x > 1.0 && bracket[1].x > bracket[0].x + 3.0 && (bracket[3].x - bracket[0].x).abs() < 1e-9);
    assert_eq!(role(&front, Role::Fold).len(), 3, "a bracket and two arrows");
    let words = role(&front, Role::Label).iter().filter(|stroke| stroke.edge.starts_with("fold, ")).count();
    assert!(words > 10, "with its words, which are writing and as such never mirrored");
    let (plain, _) = marked(&with_allowance(sleeve(), 12.7));
    assert!(role(&plain, Role::Fold).is_empty() && !plain.on_fold);
}

#[test]
fn grain_is_three_quarters_of_the_piece() {
    let (tall, _) = marked(&with_allowance(rectangle("Panel", 300.0, 900.0, 12.7), 12.7));
    assert!((tall.grain[0].distance(tall.grain[1]) - 675.0).abs() < 1e-9);
    assert!((tall.grain[0].x - 150.0).abs() < 1e-9, "where the draft has it");
    // On the bias of a square the longest line inside it is what the corners leave.
    let mut bias = rectangle("Bias panel", 300.0, 300.0, 12.7);
    bias.grain = [Point::new(100.0, 100.0), Point::new(200.0, 200.0)];
    let (bias, _) = marked(&with_allowance(bias, 12.7));
    let long = bias.grain[0].distance(bias.grain[1]);
    assert!((long - 0.75 * 300.0 * 2.0_f64.sqrt()).abs() < 1e-9, "{long}");
    // A grain far outside its piece is drawn inside, its direction kept.
    let mut astray = rectangle("Panel", 300.0, 900.0, 12.7);
    astray.grain = [Point::new(5000.0, 0.0), Point::new(5000.0, 10.0)];
    let cut = with_allowance(astray, 12.7);
    assert!(faults(&cut, &marked(&cut).0).is_empty());
}

#[test]
fn small_pieces_say_what_was_left_out() {
    let says = |w, h| {
        let (_, findings) = marked(&with_allowance(rectangle("Loop", w, h, 6.35), 6.35));
        findings
            .iter()
            .filter(|f| f.severity == Severity::Warning)
            .map(|f| f.message.clone())
            .collect::<Vec<_>>()
            .join("; ")
    };
    assert_eq!(says(110.0, 30.0), "");
    assert!(says(30.0, 12.0).contains("left out"), "{}", says(30.0, 12.0));
    assert!(says(3.0, 3.0).contains("no room for a label"), "{}", says(3.0, 3.0));
}

/// Everything wrong with a slip: its frame lies clear of the cut line, its writing in its frame, its arrow between them.
fn slip_faults(marked: &MarkedPiece) -> Vec<String> {
    let cut = polygon(&marked.outline);
    let slip: Vec<&Stroke> = marked.strokes.iter().filter(|stroke| stroke.is_beside()).collect();
    let (writing, arrow): (Vec<&Stroke>, Vec<&Stroke>) = slip.iter().partition(|stroke| stroke.role == Role::Label);
    let [frame, letters @ ..] = &writing[..] else { return vec!["there is no slip".into()] };
    let inside = polygon(&frame.path);
    let mut faults = Vec::new();
    let away = Euclidean.distance(&inside, &cut);
    if !(3.9..4.2).contains(&away) {
        faults.push(format!("the frame lies {away:.2} mm from the cut line"));
    }
    if letters.is_empty() || letters.iter().any(|letter| outside(&letter.path, &inside) > 0.0) {
        faults.push("writing leaves the frame".into());
    }
    let [shaft, head] = &arrow[..] else { return vec!["the arrow has no shaft or no head".into()] };
    let ends = flat(&shaft.path, 0.01);
    let [tail, tip] = [ends[0], ends[1]].map(|p| GeoPoint::new(p.x, p.y));
    if Euclidean.distance(&tail, inside.exterior()) > 1e-6 || (Euclidean.distance(&tip, &cut) - 0.3).abs() > 0.01 {
        faults.push("the arrow does not lead from the slip to the piece".into());
    }
    if dense(&head.path).iter().any(|p| cut.contains(p)) {
        faults.push("the arrow's head lies on the piece".into());
    }
    faults
}

#[test]
fn what_has_no_room_goes_on_a_slip() {
    let slim = Heading { slips: true, stamp: "machine corrected 2026-09-21".into(), ..heading() };
    let mut dice = Dice(11);
    for n in 0..40 {
        // Slim, small, pointed and hollow ones.
        let (w, h) = (dice.between(4.0, 60.0), dice.between(4.0, 30.0));
        let gusset = [
            ("front", format!("M0 0 C{} {} {} {} {w} 0", w / 3.0, h * 0.3, w * 0.7, h * 0.3)),
            ("back", format!("M{w} 0 L{} {h}", w * 0.4)),
            ("sleeve", format!("M{} {h} L0 0", w * 0.4)),
        ];
        let edges: Vec<(&str, &str)> = gusset.iter().map(|(name, path)| (*name, &**path)).collect();
        let small = if n % 2 == 0 {
            rectangle("Loop", w, h, 6.35)
        } else {
            piece("Gusset", &edges, 6.35, [(w * 0.4, h * 0.4), (w * 0.4, h * 0.6)])
        };
        let cut = with_allowance(small, 6.35);
        let (without, _) = marked(&cut);
        let (with, findings) = mark(&cut, &slim).expect("marks");
        assert_eq!(slip_faults(&with), [""; 0], "{n}: {w} × {h}");
        assert!(without.strokes.iter().all(|stroke| !stroke.is_beside()));
        let said: Vec<_> = findings.iter().filter(|f| f.message.contains("on a slip")).collect();
        assert!(said.len() == 1 && said[0].severity == Severity::Note, "{findings:?}");
        // Seeded faults: the slip on the piece, the slip away from it, its writing lost, its arrow turned.
        let spoilt = |change: &dyn Fn(&mut Stroke)| {
            let mut spoilt = with.clone();
            spoilt.strokes.iter_mut().filter(|stroke| stroke.is_beside()).for_each(change);
            slip_faults(&spoilt)
        };
        let frame = with.strokes.iter().find(|stroke| stroke.is_beside()).expect("a frame").path.bounding_box();
        let towards = with.outline.bounding_box().center() - frame.center();
        for step in [0.1, -0.1] {
            let moved = Affine::translate(towards * step);
            assert!(!spoilt(&|stroke| stroke.path.apply_affine(moved)).is_empty(), "{n}: moved");
        }
        let turned = |stroke: &mut Stroke| {
            if stroke.role == Role::Line {
                stroke.path = stroke.path.reverse_subpaths();
            }
        };
        assert!(!spoilt(&turned).is_empty(), "{n}: turned");
        let half = Affine::scale_about(0.5, frame.center());
        let mut first = true;
        let mut shrunk = with.clone();
        for stroke in shrunk.strokes.iter_mut().filter(|stroke| stroke.is_beside() && std::mem::take(&mut first)) {
            stroke.path.apply_affine(half);
        }
        assert!(!slip_faults(&shrunk).is_empty(), "{n}: a frame that is too small");
    }
    // Where everything has room there is none.
    let (ample, _) = mark(&with_allowance(sleeve(), 12.7), &slim).expect("marks");
    assert!(ample.strokes.iter().all(|stroke| !stroke.is_beside()));
}

/// A slip says all that the label says, and the lengths that had no room: as many strokes as those words have letters.
#[test]
fn a_slip_says_what_was_left_out() {
    let written = |w: f64, h: f64| {
        let cut = with_allowance(rectangle("Loop", w, h, 6.35), 6.35);
        let (marked, _) = mark(&cut, &Heading { slips: true, ..heading() }).expect("marks");
        marked.strokes.iter().filter(|stroke| stroke.is_beside() && stroke.role == Role::Label).count()
    };
    let strokes = |words: &[&str]| -> usize { words.iter().map(|w| oaktag::text::letter(w, 1.0).paths.len()).sum() };
    let label = [
        "Loop",
        "Chorus tunic",
        "Ọlábísí Adéṣọlá",
        "cut 2, mirrored, main cloth",
        "allowance 1/4 in",
        "measured 3 March",
        "piece 3 of 9",
    ];
    // The frame, the words, and a dot between two that share a row.
    let said = written(20.0, 3.0);
    let least = 1 + strokes(&label);
    assert!((least..=least + label.len()).contains(&said), "{said} strokes, {least} at the least");
    // The sides of a strip 60 mm long are long enough for their lengths, and 5 mm high it has room for none.
    let lengths = strokes(&["net lengths:", "bottom 2 3/8 in", "top 2 3/8 in"]);
    let said = written(60.0, 3.0);
    assert!((least + lengths..=least + lengths + label.len() + 3).contains(&said), "{said} strokes");
}

/// Words stand at the fold, or on a slip, or a warning says that they stand nowhere.
#[test]
fn a_narrow_fold_is_marked_all_the_same() {
    let band = |long: f64, high: f64, scale: f64, slips: bool| {
        let mut band = rectangle("Waistband", long, high, 6.35);
        band.edges[3].fold = true;
        band.cut = oaktag::piece::Cut { count: 1, mirrored: false, cloth: "main".into() };
        mark(&with_allowance(band, 6.35), &Heading { slips, scale, ..heading() }).expect("marks")
    };
    let words = |marked: &MarkedPiece| -> Vec<BezPath> {
        let at_fold = |stroke: &&&Stroke| stroke.edge == "fold, left";
        role(marked, Role::Label).iter().filter(at_fold).map(|stroke| stroke.path.clone()).collect()
    };
    let at_fold = |long: f64, high: f64, scale: f64, slips: bool| {
        let (marked, findings) = band(long, high, scale, slips);
        let slip = marked.strokes.iter().filter(|stroke| stroke.is_beside() && stroke.role == Role::Label).count();
        let warned = findings.iter().any(|finding| finding.message.contains("place on fold"));
        (role(&marked, Role::Fold).len(), words(&marked).len(), slip, warned)
    };
    let letters = |words: &str| oaktag::text::letter(words, 1.0).paths.len();
    // Room for the bracket; for the words alone, along the fold; for nothing.
    assert_eq!(at_fold(180.0, 60.0, 1.0, true), (3, letters("place on fold"), 0, false));
    let mut seen = [0; 3];
    for step in 0..30 {
        let long = 5.0 + 0.4 * f64::from(step);
        let (bracket, letters_there, ..) = at_fold(long, 60.0, 1.0, true);
        match (bracket, letters_there) {
            (3, _) => seen[2] += 1,
            (0, 0) => seen[0] += 1,
            (0, n) => {
                assert_eq!(n, letters("place on fold"));
                let marked = band(long, 60.0, 1.0, true).0;
                for grain in role(&marked, Role::Grain) {
                    assert!(words(&marked).iter().all(|word| apart(word, &grain.path) > 1.0), "{long}");
                }
                seen[1] += 1;
            }
            other => panic!("{long}: {other:?}"),
        }
    }
    assert!(seen.iter().all(|count| *count > 0), "{seen:?}");
    // A seeded fault: without a slip nothing on the piece says it, and that is told.
    let (bracket, words, slip, warned) = at_fold(180.0, 9.0, 0.25, false);
    assert_eq!((bracket, words, slip, warned), (0, 0, 0, true));
    let (bracket, words, slip, warned) = at_fold(180.0, 9.0, 0.25, true);
    assert_eq!((bracket, words, warned), (0, 0, false));
    assert!(slip > letters("left: place on fold"), "{slip}");
    // At a quarter of the size a side is named whose length would stand on it at full size (here the slip says the whole
    // label in both cases); one that has no room at full size is missed by nobody.
    let real = |long: f64, scale: f64| {
        let cut = with_allowance(rectangle("Foot", long, 3.0, 6.35), 6.35);
        let (marked, _) = mark(&cut, &Heading { slips: true, scale, ..heading() }).expect("marks");
        marked.strokes.iter().filter(|stroke| stroke.is_beside() && stroke.role == Role::Label).count()
    };
    let lengths = letters("net lengths:") + letters("bottom 3 1/8 in") + letters("top 3 1/8 in");
    assert!(real(20.0, 0.25) >= real(20.0, 1.0) + lengths, "{} {}", real(20.0, 0.25), real(20.0, 1.0));
    assert!(real(3.0, 0.25) < real(3.0, 1.0) + lengths);
}

#[test]
fn what_can_not_be_drawn_is_refused_or_reported() {
    let base = || rectangle("Yoke", 200.0, 120.0, 12.7);
    let refused = |change: fn(&mut Piece)| {
        let mut piece = base();
        change(&mut piece);
        let mut cut = with_allowance(base(), 12.7);
        cut.piece = piece;
        mark(&cut, &heading()).expect_err("must be refused").message
    };
    assert!(refused(|p| p.grain[1] = p.grain[0]).contains("grainline"));
    assert!(refused(|p| p.grain[1].x = f64::NAN).contains("number"));
    assert!(refused(|p| p.drills.push(Point::new(f64::INFINITY, 0.0))).contains("number"));
    assert!(refused(|p| p.edges.clear()).contains("edges"));
    assert!(refused(|p| p.notches.push(notch("hem", 1.0, NotchKind::Slit, 1))).contains("doesn't have"));
    assert!(refused(|p| p.notches.push(notch("top", 201.0, NotchKind::Slit, 1))).contains("7 7/8 in"));
    assert!(refused(|p| p.notches.push(notch("top", f64::NAN, NotchKind::Slit, 1))).contains("notch"));

    let mut piece = base();
    piece.drills = vec![Point::new(-50.0, 10.0)];
    piece.darts = vec![oaktag::piece::Dart {
        edge: "bottom".into(),
        mouth: [50.0, 70.0],
        apex: Point::new(60.0, 300.0),
        pressed: oaktag::piece::Pressed::ToEnd,
    }];
    piece.lines = vec![oaktag::piece::InnerLine {
        name: "yoke line".into(),
        path: BezPath::from_svg("M-60 60 L260 60").expect("a path"),
    }];
    let cut = with_allowance(piece, 12.7);
    let (marked, findings) = marked(&cut);
    assert_eq!(faults(&cut, &marked), Vec::<String>::new());
    assert_eq!(findings.iter().filter(|f| f.severity == Severity::Breach).count(), 2, "{findings:?}");
    let line = role(&marked, Role::Line).into_iter().find(|line| line.edge == "yoke line").expect("is drawn");
    // Clipped at the cut line, which stands 12.7 mm outside the rectangle (geometry).
    assert!((line.path.bounding_box().width() - 225.4).abs() < 0.05, "{:?}", line.path);
}

#[test]
fn letters_without_strokes_are_named() {
    let heading = Heading { person: "李".into(), ..heading() };
    let (_, findings) = mark(&with_allowance(sleeve(), 12.7), &heading).expect("marks");
    assert!(findings.iter().any(|f| f.message.contains('李')), "{findings:?}");
}

#[test]
fn the_same_piece_gives_the_same_strokes() {
    let cut = with_allowance(bodice(), 12.7);
    assert_eq!(marked(&cut).0, marked(&cut).0);
}
