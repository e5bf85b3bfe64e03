//! A proven file on its way to a machine: over TCP or a serial line byte by byte, each once and in order; to a print queue
//! or a folder whole.
//!
//! Only HP-GL and RS-274 can be taken up again after a break, at the start of a piece: [`cut()`] finds the strokes in the
//! file, where the tool is up. What was handed to the system may still be on its way when a line breaks, so nobody but the
//! person at the machine knows what was drawn; nothing here sends half a job again unasked.

mod cut;
mod proven;
mod stream;
mod whole;
mod wire;

pub use cut::{Cut, Stroke, cut};
pub use proven::{Journal, Proven, State, digest};
pub use stream::{Command, Ending, Progress, Sent, stream};
pub use whole::{to_folder, to_queue};
pub use wire::{Wire, open};
