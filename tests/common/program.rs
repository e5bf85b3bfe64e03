//! The program as a user runs it, and folders for what it writes.

use super::file;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};

/// The program with these arguments, in the repository's folder, without colours.
pub fn command(args: &[&str]) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_oaktag"));
    command.args(args).current_dir(env!("CARGO_MANIFEST_DIR")).env("NO_COLOR", "1");
    command
}

/// What it says, and how it ends.
pub fn oaktag(args: &[&str]) -> Output {
    command(args).output().expect("the program starts")
}

/// Its exit code.
pub fn code(output: &Output) -> i32 {
    output.status.code().expect("it ends by itself")
}

/// Standard output.
pub fn out(output: &Output) -> String {
    String::from_utf8_lossy(&output.stdout).into_owned()
}

/// Standard error as one line, without its frame.
pub fn err(output: &Output) -> String {
    let text = String::from_utf8_lossy(&output.stderr);
    text.replace(['│', '╭', '╰', '─'], " ").split_whitespace().collect::<Vec<_>>().join(" ")
}

/// A folder of one test's own, empty.
pub fn scratch(name: &str) -> PathBuf {
    let folder = file("target/tests").join(env!("CARGO_CRATE_NAME")).join(name);
    let _ = std::fs::remove_dir_all(&folder);
    std::fs::create_dir_all(&folder).expect("a folder in target");
    folder
}

/// Writes a file; its path, as an argument.
pub fn write(folder: &Path, name: &str, text: &str) -> String {
    let path = folder.join(name);
    std::fs::write(&path, text).expect("writes");
    path.display().to_string()
}
