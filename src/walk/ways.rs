//! Seams that are walked the wrong way round, as their own notches show.

use super::carry::{Walked, notches_along};
use super::pairing::Pairing;
use super::side_length;
use crate::diag::Finding;
use crate::piece::{Join, PieceSet};

/// Notches of a seam that land nearer than this to each other meet, mm: an eighth of an inch (common practice, no source).
const MEET: f64 = 3.175;

/// Warns of seams whose notches, as they were placed on both sides, do not meet, but would if one edge were walked the
/// other way. To be asked before notches are carried: a carried notch meets its partner, whichever way the seam is walked.
pub fn ways(set: &PieceSet) -> Vec<Finding> {
    set.joins.iter().filter_map(|join| wrong_way(set, join)).collect()
}

fn wrong_way(set: &PieceSet, join: &Join) -> Option<Finding> {
    let pairing = Pairing::new(join, [0, 1].map(|side: usize| side_length(set, &join.sides[side])));
    for side in [1, 0] {
        for index in 0..join.sides[side].len() {
            let there = notches_along(set, &join.sides[1 - side]);
            // How many of this edge's notches there are, and how many meet one of the other side.
            let meeting = |turned: bool| {
                let mut spans = join.sides[side].clone();
                spans[index].backwards ^= turned;
                let name = spans[index].to_string();
                let own: Vec<Walked> = notches_along(set, &spans)
                    .into_iter()
                    .filter(|walked| walked.is_notch && walked.span == name)
                    .collect();
                let meets = |walked: &&Walked| {
                    let lands = pairing.across(side, walked.along);
                    let near = |at: f64| there.iter().any(|other| other.is_notch && (other.along - at).abs() <= MEET);
                    lands.is_some_and(near)
                };
                (own.len(), own.iter().filter(meets).count())
            };
            let ((all, as_walked), (_, turned)) = (meeting(false), meeting(true));
            if as_walked < all && turned == all {
                let span = &join.sides[side][index];
                let mut other = span.clone();
                other.backwards ^= true;
                return Some(
                    Finding::warning(format!(
                        "in seam \"{}\" the notches of the two sides do not meet; they would if {}/{} were walked the other way",
                        join.name, span.piece, span.edge
                    ))
                    .piece(&span.piece)
                    .edge(&span.edge)
                    .hint(format!("does this edge run the other way? then write \"{other}\"")),
                );
            }
        }
    }
    None
}
