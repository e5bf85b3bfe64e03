//! Bytes onto a line, every one once and in order, with pause, stop and a report of how far it came.

use super::wire::Wire;
use std::io::{self, ErrorKind};
use std::time::{Duration, Instant};

/// Bytes handed over at a time, at the most: little enough that a stop is heeded at once.
const CHUNK: usize = 512;

/// What the user wants.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Command {
    /// Go on.
    Go,
    /// Wait where the tool is up.
    Pause,
    /// Park the tool and end.
    Stop,
}

/// How far it has come.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Progress {
    /// Bytes handed over.
    pub handed: usize,
    /// All of them.
    pub total: usize,
    /// Whether the machine takes nothing at the moment.
    pub stalled: bool,
    /// Whether it waits for the user with the tool up.
    pub paused: bool,
}

/// How it ended.
#[derive(Debug)]
pub enum Ending {
    /// All was handed over; `receipt` where the machine closed the line in good order.
    Done {
        /// Whether it did.
        receipt: bool,
    },
    /// Stopped by the user; `parked` where the command to park the tool went out as well.
    Stopped {
        /// Whether it did.
        parked: bool,
    },
    /// The line was lost, or the machine took nothing for too long.
    Lost(io::Error),
}

/// A report of a sending.
#[derive(Debug)]
pub struct Sent {
    /// How it ended.
    pub ending: Ending,
    /// Bytes that were handed over, in order from the first.
    pub handed: usize,
    /// Of those, bytes known to be still in this computer when it ended.
    pub waiting: usize,
}

/// Sends bytes. `ends` are the places where it may stop, `lifted` those where it may pause, both ascending; `park` is
/// what parks the tool. `tell` is told of the progress several times a second and at every place of `lifted`, and says
/// what to do. A machine that takes nothing for `patience` is given up.
pub fn stream(
    wire: &mut dyn Wire,
    bytes: &[u8],
    ends: &[usize],
    lifted: &[usize],
    park: &[u8],
    patience: Duration,
    tell: &mut dyn FnMut(Progress) -> Command,
) -> Sent {
    let total = bytes.len();
    let mut at = 0;
    let mut told = Instant::now();
    let mut progress = Progress { handed: 0, total, stalled: false, paused: false };
    let mut command = tell(progress);
    let end = |wire: &dyn Wire, ending, handed| Sent { ending, handed, waiting: wire.waiting() };
    while at < total {
        if command == Command::Stop {
            let parked = hand_all(wire, park, patience, &mut |_| {}).1.is_ok() && wire.finish(patience).is_ok();
            return end(wire, Ending::Stopped { parked }, at);
        }
        if command == Command::Pause && (at == 0 || lifted.binary_search(&at).is_ok()) {
            progress.paused = true;
            std::thread::sleep(Duration::from_millis(50));
            command = tell(progress);
            continue;
        }
        progress.paused = false;
        // As many whole instructions as fit, one at the least; to the next place where a pause may be.
        let next_lift = lifted.get(lifted.partition_point(|end| *end <= at)).copied().unwrap_or(total);
        let fitting = ends[..ends.partition_point(|end| *end <= at + CHUNK)].last().copied().unwrap_or(0);
        let one = ends.get(ends.partition_point(|end| *end <= at)).copied().unwrap_or(total);
        let to = fitting.max(one).min(next_lift.max(one)).min(total);
        let start = at;
        let (handed, result) = hand_all(wire, &bytes[start..to], patience, &mut |handed| {
            let now = Progress { handed: start + handed, total, stalled: true, paused: false };
            command = tell(now);
        });
        at += handed;
        if let Err(error) = result {
            return end(wire, Ending::Lost(error), at);
        }
        progress.handed = at;
        if told.elapsed() > Duration::from_millis(100) || lifted.binary_search(&at).is_ok() || at == total {
            command = tell(progress);
            told = Instant::now();
        }
    }
    match wire.finish(patience) {
        Ok(receipt) => end(wire, Ending::Done { receipt }, at),
        Err(error) => end(wire, Ending::Lost(error), at),
    }
}

/// Hands over all of some bytes; how many were, and why not the others. A stop does not part an instruction: it is
/// heeded behind these bytes, or when the machine takes nothing for `patience`.
fn hand_all(
    wire: &mut dyn Wire,
    bytes: &[u8],
    patience: Duration,
    stalled: &mut dyn FnMut(usize),
) -> (usize, io::Result<()>) {
    let mut handed = 0;
    let mut since = Instant::now();
    while handed < bytes.len() {
        match wire.hand(&bytes[handed..]) {
            Ok(count) => {
                handed += count;
                since = Instant::now();
            }
            Err(e) if e.kind() == ErrorKind::Interrupted => {}
            Err(e) if e.kind() == ErrorKind::TimedOut => {
                stalled(handed);
                if since.elapsed() >= patience {
                    let message = format!("the machine took nothing for {} s", patience.as_secs());
                    return (handed, Err(io::Error::new(ErrorKind::TimedOut, message)));
                }
            }
            Err(e) => return (handed, Err(e)),
        }
    }
    (handed, Ok(()))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A line that takes few bytes at a time, stalls in between, and may break.
    struct Fickle {
        taken: Vec<u8>,
        tries: usize,
        breaks_at: usize,
    }

    impl Wire for Fickle {
        fn hand(&mut self, bytes: &[u8]) -> io::Result<usize> {
            self.tries += 1;
            if self.tries.is_multiple_of(3) {
                return Err(ErrorKind::TimedOut.into());
            }
            let count = bytes.len().min(1 + self.tries % 7).min(self.breaks_at - self.taken.len());
            if count == 0 {
                return Err(ErrorKind::BrokenPipe.into());
            }
            self.taken.extend(&bytes[..count]);
            Ok(count)
        }
        fn waiting(&self) -> usize {
            0
        }
        fn finish(&mut self, _: Duration) -> io::Result<bool> {
            Ok(true)
        }
    }

    fn job() -> (Vec<u8>, Vec<usize>) {
        let bytes: Vec<u8> = (0..200).flat_map(|i| format!("PD{i},{i};").into_bytes()).collect();
        let ends = bytes.iter().enumerate().filter(|(_, byte)| **byte == b';').map(|(at, _)| at + 1).collect();
        (bytes, ends)
    }

    fn send(breaks_at: usize, tell: &mut dyn FnMut(Progress) -> Command) -> (Sent, Vec<u8>) {
        let (bytes, ends) = job();
        let lifted: Vec<usize> = ends.iter().copied().skip(9).step_by(10).collect();
        let mut wire = Fickle { taken: Vec::new(), tries: 0, breaks_at };
        let sent = stream(&mut wire, &bytes, &ends, &lifted, b"PU;", Duration::from_secs(5), tell);
        (sent, wire.taken)
    }

    #[test]
    fn every_byte_once_and_in_order_or_a_report() {
        let (bytes, ends) = job();
        let (sent, taken) = send(usize::MAX, &mut |_| Command::Go);
        assert!(matches!(sent.ending, Ending::Done { receipt: true }));
        assert_eq!(taken, bytes);
        for breaks_at in [0, 1, 17, 500, bytes.len() - 1] {
            let (sent, taken) = send(breaks_at, &mut |_| Command::Go);
            assert!(matches!(sent.ending, Ending::Lost(_)), "{breaks_at}");
            assert_eq!((sent.handed, &taken[..]), (breaks_at, &bytes[..breaks_at]));
        }
        // A stop comes behind a whole instruction, and the tool is parked behind it.
        let (sent, taken) = send(usize::MAX, &mut |p| if p.handed > 300 { Command::Stop } else { Command::Go });
        assert!(matches!(sent.ending, Ending::Stopped { parked: true }));
        assert!(ends.contains(&sent.handed) && sent.handed < bytes.len());
        assert_eq!(taken, [&bytes[..sent.handed], b"PU;"].concat());
        // A pause waits where the tool is up, then goes on with the very next byte.
        let mut asked = 0;
        let (sent, taken) = send(usize::MAX, &mut |p| {
            asked += usize::from(p.paused);
            if p.handed > 100 && asked < 3 { Command::Pause } else { Command::Go }
        });
        assert!(asked == 3 && matches!(sent.ending, Ending::Done { .. }));
        assert_eq!(taken, bytes);
    }
}
