//! A tour through paths, made shorter by exchanging edges.
//!
//! The tour is a ring of paths; each is gone through from one of its two ends to the other, and that is never taken
//! apart. So every end has one edge that leads away, and a move is known by the ends in turn: t₁t₂ goes, t₂t₃ comes, t₃t₄
//! goes … until t₂ₖt₁ closes it (Lin & Kernighan, Operations Research 21, 1973). Moves up to [`DEPTH`] edges are looked
//! through without touching the tour; whether they leave one ring is told from the order of the few pieces that they cut
//! it into (Helsgaun, European Journal of Operational Research 126, 2000). A tour that no move shortens is shaken in one
//! place by a double bridge (Martin, Otto & Felten, Complex Systems 5, 1991), mended there, and put back where that gained
//! nothing (the segment insertion and small kicks after Johnson & `McGeoch`, 1997).

use super::near::Near;
use super::rules::Rules;
use kurbo::Point;

/// Most edges that one move of the search exchanges; a kick exchanges four.
const DEPTH: usize = 3;
/// How many candidates are tried for the second edge of a move, and for the third.
const BREADTH: [usize; DEPTH] = [0, usize::MAX, 10];
/// Most edges of any move.
const MOST: usize = 4;
/// Gains below this are rounding, mm.
const LEAST: f64 = 1e-7;
/// The cuts of a double bridge lie at most so many paths apart. With 50 the search stalls 0.6 % higher at 5,000 paths: what
/// is left to gain then lies in how whole clusters follow one another. With 400 a kick takes a quarter longer and finds no more.
const KICK: usize = 200;
/// Each of a double bridge's cuts is the longest edge of at most so many drawn. With one the tour stays 0.4 % longer after
/// 100,000 kicks at 5,000 paths.
const DRAWS: usize = 20;
/// The threshold's mean at first, in mean edges of the tour. With none the search stalls 0.2 % higher at 5,000 paths; whether
/// it is 2 or 4 can't be told from what the seed makes.
const WARMTH: f64 = 2.0;
/// So many steps or kicks are made before the caller is asked whether to go on.
const LOOK: usize = 32;

/// The effort spent is looked at every so many kicks: a small job has about two hundred, and its last tenth must be cold.
const ASK: usize = 4;

/// The paths of a tour. Path 0 is home; path i has the ends 2i and 2i + 1.
#[derive(Clone)]
pub(super) struct Paths {
    /// Where each end is now.
    pub(super) points: Vec<Point>,
    /// Which site each end is at now.
    pub(super) site: Vec<u32>,
    /// Every point that a path can be started from, with the path: an open path's two ends, a closed one's vertices.
    pub(super) sites: Vec<(u32, Point)>,
    /// Where each path's sites start in `sites`, and where they end.
    pub(super) ranges: Vec<(u32, u32)>,
    /// Which paths can be started from more than one vertex.
    pub(super) turns: Vec<bool>,
    /// What each path belongs to.
    pub(super) groups: Vec<u32>,
    /// Added where an edge leads from one group to another, mm; large where groups are gone through one by one.
    pub(super) crossing: f64,
}

impl Paths {
    /// What joining two ends costs.
    #[inline]
    pub(super) fn between(&self, a: u32, b: u32) -> f64 {
        let away = self.points[a as usize].distance(self.points[b as usize]);
        if self.crossing > 0.0 { away + self.apart(a / 2, b / 2) } else { away }
    }

    /// What is added for going from one path to another.
    pub(super) fn apart(&self, a: u32, b: u32) -> f64 {
        if self.groups[a as usize] == self.groups[b as usize] { 0.0 } else { self.crossing }
    }

    /// Starts a closed path from another of its vertices.
    pub(super) fn seat(&mut self, path: u32, site: u32) {
        for end in [2 * path as usize, 2 * path as usize + 1] {
            self.points[end] = self.sites[site as usize].1;
            self.site[end] = site;
        }
    }

    /// The length of a round trip.
    pub(super) fn length(&self, order: &[u32]) -> f64 {
        (0..order.len()).map(|at| self.between(order[at] ^ 1, order[(at + 1) % order.len()])).sum()
    }
}

/// Edges that go, (t₀, t₁), (t₂, t₃) …, and for each t the one that it is joined to instead, by index.
#[derive(Clone, Copy)]
struct Move {
    edges: usize,
    t: [u32; 2 * MOST],
    join: [u8; 2 * MOST],
}

/// A move as the pieces that it leaves, in their new order; the first stays where it is.
struct Plan {
    count: usize,
    /// First position, length, and whether it keeps its direction.
    pieces: [(usize, usize, bool); MOST],
}

/// What was done to the tour.
enum Step {
    Exchange(Move),
    /// A closed path was started from another vertex; this was its site before.
    Seat(u32, u32),
}

/// A tour under search.
pub(super) struct Search<'a> {
    paths: &'a mut Paths,
    near: &'a Near,
    rules: Option<&'a Rules>,
    /// The end by which each path of the ring is entered.
    order: Vec<u32>,
    /// Where in the ring each path is.
    place: Vec<u32>,
    /// What each end is joined to, and how long that edge is. A move changes this for the ends that it names, and for no
    /// other, however much of the ring it turns round.
    edge: Vec<(u32, f64)>,
    /// Ends worth another look.
    queue: std::collections::VecDeque<u32>,
    queued: Vec<bool>,
    /// What was done since the last kick.
    log: Vec<Step>,
    scratch: Vec<u32>,
    random: u64,
}

impl<'a> Search<'a> {
    /// `order` has the entered end of each path and starts with home's.
    pub(super) fn new(
        paths: &'a mut Paths,
        near: &'a Near,
        rules: Option<&'a Rules>,
        order: Vec<u32>,
        seed: u64,
    ) -> Self {
        let mut place = vec![0; order.len()];
        for (at, end) in order.iter().enumerate() {
            place[*end as usize / 2] = at as u32;
        }
        let ends = 2 * order.len();
        let mut search = Self {
            paths,
            near,
            rules,
            order,
            place,
            edge: vec![(0, 0.0); ends],
            queue: std::collections::VecDeque::new(),
            queued: vec![false; ends],
            log: Vec::new(),
            scratch: Vec::new(),
            random: seed,
        };
        for at in 0..search.order.len() {
            let (leaves, enters) = (search.order[at] ^ 1, search.order[(at + 1) % search.order.len()]);
            search.join(leaves, enters);
            search.join(enters, leaves);
        }
        search
    }

    /// The tour, from home.
    pub(super) fn into_order(mut self) -> Vec<u32> {
        let home = self.place[0] as usize;
        self.order.rotate_left(home);
        self.order
    }

    /// Looks at every end until no move shortens the tour. `go_on` is asked now and then.
    pub(super) fn settle(&mut self, go_on: &mut dyn FnMut() -> bool) {
        for at in 0..self.order.len() {
            self.look_at(self.order[at]);
            self.look_at(self.order[at] ^ 1);
        }
        let mut since = 0;
        while self.step().is_some() {
            since += 1;
            if since % LOOK == 0 && !go_on() {
                self.queue.drain(..).for_each(|end| self.queued[end as usize] = false);
            }
        }
        self.log.clear();
    }

    /// Shakes and mends the tour until `spent`, told how often so far, says that the share `until` of all effort is spent.
    ///
    /// Where `warm`, what makes the tour longer by less than a random threshold is kept: simulated annealing over local
    /// optima (Martin, Otto & Felten, 1991). The threshold falls with the effort that is left, and is none for the last tenth.
    pub(super) fn shake(&mut self, warm: bool, until: f64, spent: &mut dyn FnMut(usize) -> f64) {
        let warmth = if warm { WARMTH * self.mean_way() } else { 0.0 };
        let (mut kicks, mut share) = (0, 0.0);
        loop {
            if kicks % ASK == 0 {
                share = spent(kicks);
                if share >= until {
                    return;
                }
            }
            kicks += 1;
            let Some(mut change) = self.kick() else { continue };
            while let Some(gain) = self.step() {
                change -= gain;
            }
            if change > LEAST && change > self.threshold(warmth * (0.9 - share).max(0.0).powi(2)) {
                self.take_back();
            }
            self.log.clear();
        }
    }

    /// A random length with this mean, mm, exponentially distributed.
    fn threshold(&mut self, mean: f64) -> f64 {
        const FINE: usize = 1 << 30;
        if mean > 0.0 { -mean * ((1 + self.random(FINE)) as f64 / FINE as f64).ln() } else { 0.0 }
    }

    /// The mean of the ways along the tour's edges, mm.
    fn mean_way(&self) -> f64 {
        self.order.iter().map(|end| self.way(*end)).sum::<f64>() / self.order.len() as f64
    }

    /// How far it is along an end's edge, mm, whatever is added for leaving a group.
    fn way(&self, end: u32) -> f64 {
        let (other, length) = self.edge[end as usize];
        if self.paths.crossing > 0.0 { length - self.paths.apart(end / 2, other / 2) } else { length }
    }

    /// Undoes all since the last kick.
    fn take_back(&mut self) {
        while let Some(step) = self.log.pop() {
            match step {
                Step::Exchange(done) => {
                    let undo = inverse(&done);
                    if let Some(plan) = self.plan(&undo) {
                        self.carry_out(&undo, &plan);
                    }
                }
                Step::Seat(path, site) => self.seat(path, site),
            }
        }
    }

    /// Starts a closed path elsewhere.
    fn seat(&mut self, path: u32, site: u32) {
        self.paths.seat(path, site);
        for end in [2 * path, 2 * path + 1] {
            let other = self.across(end);
            self.join(end, other);
            self.join(other, end);
        }
    }

    /// Notes what an end is joined to.
    fn join(&mut self, end: u32, other: u32) {
        self.edge[end as usize] = (other, self.paths.between(end, other));
    }

    fn random(&mut self, below: usize) -> usize {
        // SplitMix64 (Steele, Lea & Flood, OOPSLA 2014).
        self.random = self.random.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.random;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        ((u128::from(z ^ (z >> 31)) * below as u128) >> 64) as usize
    }

    fn look_at(&mut self, end: u32) {
        if !std::mem::replace(&mut self.queued[end as usize], true) {
            self.queue.push_back(end);
        }
    }

    /// The end at the other side of an end's edge.
    fn across(&self, end: u32) -> u32 {
        self.edge[end as usize].0
    }

    /// Takes an end from the queue and carries out the first move from it that shortens the tour: what that gains. `None`
    /// where the queue is empty.
    fn step(&mut self) -> Option<f64> {
        let end = self.queue.pop_front()?;
        self.queued[end as usize] = false;
        let mut tried = Move { edges: 1, t: [0; 2 * MOST], join: [0; 2 * MOST] };
        tried.t[0] = end;
        tried.t[1] = self.across(end);
        let gone = self.edge[end as usize].1;
        let Some(gain) = self.extend(&mut tried, gone) else { return Some(0.0) };
        self.log.push(Step::Exchange(tried));
        for index in 0..2 * tried.edges {
            self.look_at(tried.t[index]);
        }
        Some(gain)
    }

    /// Adds edges to a move that has gained `gain` up to its open end; where it can be closed with a gain, carries it out.
    fn extend(&mut self, tried: &mut Move, gain: f64) -> Option<f64> {
        let k = tried.edges;
        let (first, last) = (tried.t[0], tried.t[2 * k - 1]);
        let near = self.near;
        for &(next, away) in near.of(self.paths.site[last as usize]).iter().take(BREADTH[k]) {
            // A closed path may have been started elsewhere since the candidates were gathered.
            let turns = self.paths.turns[next as usize / 2];
            let left = gain - if turns { self.paths.between(last, next) } else { away };
            if left <= LEAST {
                if turns {
                    continue;
                }
                break;
            }
            if tried.t[..2 * k].contains(&next) {
                continue;
            }
            let (beyond, gone) = self.edge[next as usize];
            tried.t[2 * k] = next;
            tried.t[2 * k + 1] = beyond;
            tried.edges = k + 1;
            let left = left + gone;
            let closed = left - self.paths.between(beyond, first);
            if closed > LEAST {
                for index in 0..=k {
                    tried.join[2 * index + 1] = ((2 * index + 2) % (2 * k + 2)) as u8;
                    tried.join[(2 * index + 2) % (2 * k + 2)] = (2 * index + 1) as u8;
                }
                if let Some(plan) = self.plan(tried).filter(|plan| self.allowed(plan)) {
                    self.carry_out(tried, &plan);
                    return Some(closed);
                }
            }
            if k + 1 < DEPTH
                && let Some(gain) = self.extend(tried, left)
            {
                return Some(gain);
            }
            tried.edges = k;
        }
        None
    }

    /// The pieces of a move in their new order; `None` where they make more than one ring.
    fn plan(&self, tried: &Move) -> Option<Plan> {
        let k = tried.edges;
        // Cuts by position: the piece behind a cut starts there with `right`, the one before it ends with `left`.
        let mut cuts = [(0_usize, 0_u8, 0_u8); MOST];
        for index in 0..k {
            let (a, b) = (2 * index, 2 * index + 1);
            let at = self.place[tried.t[b] as usize / 2] as usize;
            let cut = if self.order[at] == tried.t[b] {
                (at, a as u8, b as u8)
            } else {
                (self.place[tried.t[a] as usize / 2] as usize, b as u8, a as u8)
            };
            let mut slot = index;
            while slot > 0 && cuts[slot - 1].0 > cut.0 {
                cuts[slot] = cuts[slot - 1];
                slot -= 1;
            }
            cuts[slot] = cut;
        }
        let count = self.order.len();
        let length = |piece: usize| {
            if piece + 1 < k { cuts[piece + 1].0 - cuts[piece].0 } else { cuts[0].0 + count - cuts[piece].0 }
        };
        // Which piece each t is an end of, and whether it is the piece's first.
        let mut owner = [(0_u8, false); 2 * MOST];
        for piece in 0..k {
            owner[cuts[piece].2 as usize] = (piece as u8, true);
            owner[cuts[(piece + 1) % k].1 as usize] = (piece as u8, false);
        }
        let fixed = if self.rules.is_some() {
            // Home stays first.
            if cuts[0].0 == 0 { 0 } else { k - 1 }
        } else {
            (0..k).max_by_key(|piece| length(*piece)).unwrap_or(0)
        };
        let mut plan = Plan { count: k, pieces: [(0, 0, true); MOST] };
        let (mut piece, mut forward) = (fixed, true);
        for visited in 0..k {
            if visited > 0 && piece == fixed {
                return None;
            }
            plan.pieces[visited] = (cuts[piece].0, length(piece), forward);
            let leaves = if forward { cuts[(piece + 1) % k].1 } else { cuts[piece].2 };
            let (next, first) = owner[tried.join[leaves as usize] as usize];
            (piece, forward) = (next as usize, first);
        }
        (piece == fixed).then_some(plan)
    }

    fn allowed(&self, plan: &Plan) -> bool {
        self.rules.is_none_or(|rules| rules.allow(&plan.pieces[..plan.count], &self.place))
    }

    fn carry_out(&mut self, done: &Move, plan: &Plan) {
        for (end, join) in done.t.iter().zip(&done.join).take(2 * done.edges) {
            self.join(*end, done.t[*join as usize]);
        }
        let count = self.order.len();
        let wrap = |at: usize| if at >= count { at - count } else { at };
        let (from, length, _) = plan.pieces[0];
        let at = wrap(from + length);
        if plan.count == 2 {
            let (mut low, mut high) = (at, wrap(wrap(at + plan.pieces[1].1) + count - 1));
            for _ in 0..plan.pieces[1].1.div_ceil(2) {
                let (a, b) = (self.order[low], self.order[high]);
                self.order[low] = b ^ 1;
                self.order[high] = a ^ 1;
                self.place[b as usize / 2] = low as u32;
                self.place[a as usize / 2] = high as u32;
                low = wrap(low + 1);
                high = if high == 0 { count - 1 } else { high - 1 };
            }
            return;
        }
        self.scratch.clear();
        for &(from, length, forward) in &plan.pieces[1..plan.count] {
            // A piece may go on from the array's end to its beginning.
            let ahead = length.min(count - from);
            let (first, second) = (&self.order[from..from + ahead], &self.order[..length - ahead]);
            if forward {
                self.scratch.extend_from_slice(first);
                self.scratch.extend_from_slice(second);
            } else {
                self.scratch.extend(second.iter().rev().map(|end| end ^ 1));
                self.scratch.extend(first.iter().rev().map(|end| end ^ 1));
            }
        }
        let (first, second) = self.scratch.split_at(self.scratch.len().min(count - at));
        for (from, ends) in [(at, first), (0, second)] {
            self.order[from..from + ends.len()].copy_from_slice(ends);
            for (at, end) in (from as u32..).zip(ends) {
                self.place[*end as usize / 2] = at;
            }
        }
    }

    /// Shakes the tour in one place; returns how much longer that is, or nothing where it can't be done there.
    fn kick(&mut self) -> Option<f64> {
        let path = self.random(self.order.len()) as u32;
        if self.paths.turns[path as usize] { self.turn(path) } else { self.bridge(self.place[path as usize] as usize) }
    }

    /// Takes a closed path out and puts it where one of its vertices, half of them tried, costs least.
    fn turn(&mut self, path: u32) -> Option<f64> {
        let (enters, leaves) = (2 * path, 2 * path + 1);
        let (a, b) = (self.across(enters), self.across(leaves));
        let (from, to) = self.paths.ranges[path as usize];
        let now = self.paths.site[enters as usize];
        let near = self.near;
        // Cost, site, and the edge to come in between.
        let mut best = (f64::INFINITY, now, [a, b]);
        for site in from..to {
            if self.random(2) == 0 {
                continue;
            }
            let point = self.paths.sites[site as usize].1;
            let away = |end: u32| point.distance(self.paths.points[end as usize]) + self.paths.apart(path, end / 2);
            if site != now {
                let cost = away(a) + away(b) - self.paths.between(a, b);
                if cost < best.0 {
                    best = (cost, site, [a, b]);
                }
            }
            for &(end, _) in near.of(site).iter().take(BREADTH[2]) {
                let other = self.across(end);
                if other / 2 != path && end / 2 != path {
                    let cost = away(end) + away(other) - self.edge[end as usize].1;
                    if cost < best.0 {
                        best = (cost, site, [end, other]);
                    }
                }
            }
        }
        let (cost, site, [end, other]) = best;
        if cost == f64::INFINITY {
            return None;
        }
        let gone = self.edge[enters as usize].1 + self.edge[leaves as usize].1 - self.paths.between(a, b);
        let stays = end == a && other == b;
        let moved = Move { edges: 3, t: [a, enters, leaves, b, end, other, 0, 0], join: [3, 4, 5, 0, 1, 2, 0, 0] };
        if !stays {
            let plan = self.plan(&moved).filter(|plan| self.allowed(plan))?;
            self.carry_out(&moved, &plan);
            self.log.push(Step::Exchange(moved));
        }
        if site != now {
            self.seat(path, site);
            self.log.push(Step::Seat(path, now));
        }
        moved.t[..6].iter().for_each(|end| self.look_at(*end));
        Some(cost - gone)
    }

    /// Swaps the outer two of three stretches of the tour in a row by a double bridge.
    fn bridge(&mut self, from: usize) -> Option<f64> {
        let count = self.order.len();
        let window = KICK.min((count - 1) / 3);
        if window == 0 {
            return None;
        }
        let mut cut = from;
        let mut kick = Move { edges: 4, t: [0; 2 * MOST], join: [0; 2 * MOST] };
        for index in 0..4 {
            cut = self.long_edge(cut + 1, window);
            let behind = self.order[cut % count];
            kick.t[2 * index] = self.across(behind);
            kick.t[2 * index + 1] = behind;
        }
        kick.join[..8].copy_from_slice(&[5, 4, 7, 6, 1, 0, 3, 2]);
        let plan = self.plan(&kick).filter(|plan| self.allowed(plan))?;
        let edge = |a: usize, b: usize| self.paths.between(kick.t[a], kick.t[b]);
        let change =
            edge(0, 5) + edge(1, 4) + edge(2, 7) + edge(3, 6) - edge(0, 1) - edge(2, 3) - edge(4, 5) - edge(6, 7);
        self.carry_out(&kick, &plan);
        self.log.push(Step::Exchange(kick));
        kick.t[..8].iter().for_each(|end| self.look_at(*end));
        Some(change)
    }

    /// The place behind a long edge: of some drawn from the window's places the one whose edge is longest. Paths come in
    /// clusters, such as letters of a line of writing: the ways within settle at once, and what can be gained lies in how the
    /// clusters are joined.
    fn long_edge(&mut self, from: usize, window: usize) -> usize {
        let count = self.order.len();
        let mut longest = (-1.0, from);
        for _ in 0..=self.random(DRAWS) {
            let place = from + self.random(window);
            let length = self.way(self.order[place % count]);
            if length > longest.0 {
                longest = (length, place);
            }
        }
        longest.1
    }
}

/// The move that takes a move back.
fn inverse(done: &Move) -> Move {
    let mut undo = Move { edges: done.edges, t: done.t, join: done.join };
    let mut index_of = [0_u8; 2 * MOST];
    let mut at = 0;
    for a in 0..2 * done.edges {
        let b = done.join[a] as usize;
        if a < b {
            undo.t[at] = done.t[a];
            undo.t[at + 1] = done.t[b];
            index_of[a] = at as u8;
            index_of[b] = at as u8 + 1;
            at += 2;
        }
    }
    for a in 0..2 * done.edges {
        // What the move took apart is joined again.
        undo.join[index_of[a] as usize] = index_of[a ^ 1];
    }
    undo
}
