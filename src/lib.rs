//! A dressmaker's measures and a style go in; true-size, machine-ready pieces come out.
//!
//! Data runs one way, one type per stage, each stage a plain function that returns its output together with its
//! findings. A module imports only modules above it in this list (checked by `tests/imports.rs`).
//!
//! Inside the library every length is an `f64` in millimetres, y points up and outlines run counter-clockwise. The
//! library never prints and never exits.
#![deny(clippy::print_stdout, clippy::print_stderr, clippy::exit)]

pub mod diag;
pub mod role;
pub mod source;
pub mod units;

pub mod geom;
pub mod text;

pub mod piece;

pub mod cloth;

pub mod measures;

pub mod style;

pub mod draft;

pub mod walk;

pub mod shrink;

pub mod allow;

pub mod true_up;

pub mod device;

pub mod mark;

pub mod lay;

pub mod order;

pub mod calibrate;

pub mod write;

pub mod read;

pub mod proof;

pub mod report;

pub mod pipeline;

pub mod link;
