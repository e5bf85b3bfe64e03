//! What drawings of any kind are made out as.

use kurbo::Shape;
use oaktag::piece::json;
use oaktag::read::{self, NamedDrawing, pieces};

/// A drawing made out as pieces gives pieces that a file holds and gives back, or a finding.
pub fn pieces_of(bytes: &[u8], drawing: &NamedDrawing) {
    let _ = read::made_for_a_machine(bytes, "fuzzed");
    for join in [pieces::JOIN, 2.0] {
        if let Ok(read) = pieces::understand(drawing, &pieces::Names::default(), join, "fuzzed") {
            assert_eq!(read.set.pieces.len(), read.accounts.len());
            assert!(!pieces::account(&read).is_empty());
            // What is written is read again, but for its last digits, or is refused as no piece; and from then on it stays.
            let Ok(again) = json::read(&json::write(&read.set), "fuzzed") else { continue };
            assert_eq!(again.pieces.len(), read.set.pieces.len());
            for (piece, before) in again.pieces.iter().zip(&read.set.pieces) {
                let [now, then] = [piece, before].map(|piece| piece.outline().bounding_box());
                assert!((now.center() - then.center()).hypot() < 1e-4, "{now} for {then}");
                assert_eq!((piece.edges.len(), piece.lines.len()), (before.edges.len(), before.lines.len()));
            }
            assert_eq!(json::read(&json::write(&again), "fuzzed").ok(), Some(again));
        }
    }
}
