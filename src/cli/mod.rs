//! The face: arguments, files, terminal. Data goes to standard output, all else to standard error.

mod args;
mod commands;
mod device;
mod disk;
mod fit;
mod lay;
mod manifest;
mod new;
mod people;
mod picture;
mod progress;
mod read;
mod record;
mod say;
mod send;
mod square;
mod watch;

use args::{Cli, Command};
use clap::Parser;
use oaktag::diag::Finding;
use signal_hook::{consts::SIGINT, flag};
use std::process::ExitCode;
use std::sync::Arc;
use std::sync::atomic::AtomicBool;

/// How a command ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum End {
    /// Done.
    Done,
    /// Findings hold the output back.
    Held,
    /// Somebody could not be drafted; the rest was.
    Failed,
}

/// Whether the user asked to stop by Ctrl+C. A second one ends the program as usual.
pub fn on_ctrl_c() -> Arc<AtomicBool> {
    let stop = Arc::new(AtomicBool::new(false));
    // Without either it can be stopped as usual.
    let _ = flag::register_conditional_shutdown(SIGINT, 130, Arc::clone(&stop));
    let _ = flag::register(SIGINT, Arc::clone(&stop));
    stop
}

/// What a command returns: usage, file and device trouble is an error.
pub type Outcome = Result<End, Box<Finding>>;

/// Reads the arguments, runs the command and gives its exit code: 0 done, 1 held back by findings, 2 trouble.
pub fn run() -> ExitCode {
    let cli = Cli::parse();
    let outcome = match &cli.command {
        Command::Make(args) => commands::make(args),
        Command::Draft(args) => commands::draft(args),
        Command::Walk(args) => commands::walk(args),
        Command::Allow(args) => commands::allow(args),
        Command::Lay(args) => lay::lay(args),
        Command::Read(args) => read::read(args),
        Command::Proof(args) => commands::proof(args),
        Command::New(args) => new::new(args),
        Command::Picture(args) => picture::picture(args),
        Command::Fit(args) => fit::fit(args),
        Command::Device(args) => device::device(args),
        Command::Square(args) => square::square(args),
        Command::Send(args) => send::send(args),
    };
    match outcome {
        Ok(End::Done) => ExitCode::SUCCESS,
        Ok(End::Held) => ExitCode::from(1),
        Ok(End::Failed) => ExitCode::from(2),
        Err(finding) => {
            say::findings(&[*finding]);
            ExitCode::from(2)
        }
    }
}
