//! How far many people's drafts have come: a bar on a terminal, a line for every tenth otherwise.

use std::io::{IsTerminal, Write};
use std::sync::atomic::{AtomicUsize, Ordering};

/// Fewer files than this are done before anybody could read of it.
const WORTH_SAYING: usize = 10;

/// The bar's width, characters.
const WIDTH: usize = 30;

/// Counts what is done, from many threads.
pub struct Progress {
    total: usize,
    done: AtomicUsize,
    terminal: bool,
}

impl Progress {
    /// For so many things.
    pub fn new(total: usize) -> Self {
        Self { total, done: AtomicUsize::new(0), terminal: std::io::stderr().is_terminal() }
    }

    /// One more is done.
    pub fn step(&self) {
        let done = self.done.fetch_add(1, Ordering::Relaxed) + 1;
        let tenth = |count: usize| count * 10 / self.total.max(1);
        if self.total < WORTH_SAYING || tenth(done) == tenth(done - 1) && !self.terminal {
            return;
        }
        let line = line(done, self.total, self.terminal);
        // A closed terminal is nobody to tell.
        let _ = std::io::stderr().write_all(line.as_bytes());
    }
}

/// The bar, drawn over the last one, and wiped away at the end; or a plain line.
fn line(done: usize, total: usize, terminal: bool) -> String {
    if !terminal {
        return format!("drafted {done} of {total}\n");
    }
    if done == total {
        return format!("\r{:width$}\r", "", width = WIDTH + 30);
    }
    let full = done * WIDTH / total.max(1);
    format!("\r[{}{}] {done} of {total}", "#".repeat(full), " ".repeat(WIDTH - full))
}

#[cfg(test)]
mod tests {
    use super::line;

    #[test]
    fn a_bar_grows_and_goes() {
        assert_eq!(line(15, 30, true), format!("\r[{}{}] 15 of 30", "#".repeat(15), " ".repeat(15)));
        assert!(line(30, 30, true).trim().is_empty());
        assert_eq!(line(3, 30, false), "drafted 3 of 30\n");
    }
}
