//! What is known of a file beside it: that it was proven, and how far it was sent.

use crate::pipeline::{Part, ProvenFile};
use serde::{Deserialize, Serialize};

/// A file that passed its proof, as `proven.json` in its folder has it.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Proven {
    /// Its name in the folder.
    pub file: String,
    /// Its length, bytes.
    pub bytes: usize,
    /// [`digest`] of its bytes.
    pub digest: String,
    /// The profile's own name of the device that it was made for.
    pub device: String,
    /// The medium.
    pub medium: String,
    /// The stamp of the correction that it was written through; empty for a test square, which is right without.
    pub stamp: String,
    /// What it draws, in order.
    pub parts: Vec<Part>,
    /// The sizes that lie over one another in it, in their order; else none.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub sizes: Vec<String>,
}

/// How far a file was sent, beside it as `FILE.sent.json`. Written before a piece begins, so that whatever happens it
/// never says less than was sent.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Journal {
    /// [`digest`] of the file.
    pub digest: String,
    /// Where it was sent.
    pub to: String,
    /// How it stands.
    pub state: State,
    /// Bytes of the file that were handed over, or begun with the part under way.
    pub handed: usize,
    /// The stroke that was under way.
    pub stroke: usize,
}

/// How a sending stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum State {
    /// Under way, or the program was killed.
    Sending,
    /// Stopped by the user.
    Stopped,
    /// The line was lost.
    Lost,
    /// All of it was handed over.
    Done,
}

impl Proven {
    /// What is known of a file.
    pub fn of(file: &ProvenFile) -> Self {
        Self {
            file: file.line().file.clone(),
            bytes: file.bytes().len(),
            digest: digest(file.bytes()),
            device: file.line().device.clone(),
            medium: file.medium().into(),
            stamp: file.stamp().into(),
            parts: file.parts().to_vec(),
            sizes: file.sizes().to_vec(),
        }
    }

    /// Whether these are its bytes.
    pub fn is(&self, bytes: &[u8]) -> bool {
        self.bytes == bytes.len() && self.digest == digest(bytes)
    }

    /// The part that a stroke belongs to, counted from 0.
    pub fn part_of(&self, stroke: usize) -> usize {
        let mut count = 0;
        self.parts
            .iter()
            .position(|part| {
                count += part.strokes;
                stroke < count
            })
            .unwrap_or(self.parts.len())
    }

    /// The first stroke of a part.
    pub fn first_stroke(&self, part: usize) -> usize {
        self.parts.iter().take(part).map(|part| part.strokes).sum()
    }
}

/// A file's digest: FNV-1a in 64 bits (Fowler, Noll, Vo). Against mix-ups and edits, not against forgers.
pub fn digest(bytes: &[u8]) -> String {
    let mix = |hash: u64, byte: &u8| (hash ^ u64::from(*byte)).wrapping_mul(0x0000_0100_0000_01b3);
    format!("{:016x}", bytes.iter().fold(0xcbf2_9ce4_8422_2325, mix))
}

#[cfg(test)]
mod tests {
    #[test]
    fn the_digest_is_fnv() {
        // The published test vectors of FNV-1a, 64 bits: the empty text, "a", "foobar".
        assert_eq!(super::digest(b""), "cbf29ce484222325");
        assert_eq!(super::digest(b"a"), "af63dc4c8601ec8c");
        assert_eq!(super::digest(b"foobar"), "85944171f73967e8");
    }
}
