//! Corrected jobs as files. Each writer takes a [`CorrectedJob`](crate::calibrate::CorrectedJob) and nothing else that
//! could move a point; none of them looks at a clock.

mod dxf;
mod flat;
mod hpgl;
mod machine;
mod pdf;
mod rs274;
mod svg;

pub use dxf::{Curves, Exchange, ExchangePiece, dxf, dxf_exchange};
pub use hpgl::{Dialect, hpgl};
pub use machine::{Machine, ToolUse};
pub use pdf::{Paper, pdf};
pub use rs274::rs274;
pub use svg::{svg, svg_in_pixels};

use crate::geom::dash;
use crate::order::{Job, JobStroke};
use crate::role::Role;
use std::borrow::Cow;

/// Decimals of every coordinate in SVG and DXF: a millionth of a millimetre, far below what any proof allows.
const DECIMALS: usize = 6;

/// Width of a drawn line by what it is for, mm. The cut line is the heaviest, guides and writing are the finest.
fn line_width(role: Role) -> f64 {
    match role {
        Role::Cut => 0.3,
        Role::Sew | Role::Notch | Role::Fold | Role::Dart => 0.2,
        Role::Grain | Role::Drill | Role::Line | Role::Label => 0.15,
        Role::Square => 0.1,
    }
}

/// The layer of a stroke: its role's name; where sizes are laid over one another, with its size's number behind a hyphen.
fn layer(role: Role, size: usize) -> Cow<'static, str> {
    if size == 0 { role.name().into() } else { format!("{}-{size}", role.name()).into() }
}

/// The number of a stroke's size, from 1; 0 where it has none.
fn size_of(job: &Job, stroke: &JobStroke) -> usize {
    job.size(stroke).map_or(0, |size| size.number)
}

/// The dashes of a stroke: the cut lines of sizes that are laid over one another have each a line type of its own.
fn line_type(role: Role, size: usize) -> &'static [f64] {
    if role == Role::Cut && size > 0 { dash::of_size(size) } else { dashes(role) }
}

/// Dashes and the gaps between them, mm, starting with a dash; empty for a whole line. Whatever is cut or measured is
/// whole.
fn dashes(role: Role) -> &'static [f64] {
    match role {
        Role::Sew => &[4.0, 2.0],
        Role::Line => &[8.0, 3.0],
        Role::Dart => &[2.0, 2.0],
        Role::Cut | Role::Notch | Role::Grain | Role::Fold | Role::Drill | Role::Label | Role::Square => &[],
    }
}
