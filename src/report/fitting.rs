//! What the notes of fittings changed: before and after.

use super::html::{clean, name, table};
use super::text::aligned;
use serde::Serialize;

/// An edge or a worn measure that a fitting changed, as people read it.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct ChangeRow {
    /// Such as `Front/side`.
    pub what: String,
    /// Before the fittings.
    pub before: String,
    /// After them.
    pub after: String,
}

/// The table for the terminal; empty where nothing changed.
pub fn fitting_text(rows: &[ChangeRow]) -> String {
    if rows.is_empty() {
        return String::new();
    }
    let mut lines = vec![["fitted", "before", "after"].map(String::from).to_vec()];
    lines.extend(rows.iter().map(|row| [&row.what, &row.before, &row.after].map(|text| clean(text)).to_vec()));
    aligned(&lines)
}

/// The proof sheet's section; empty where nothing changed.
pub(super) fn section(rows: &[ChangeRow]) -> String {
    if rows.is_empty() {
        return String::new();
    }
    let rows: Vec<Vec<String>> =
        rows.iter().map(|row| [&row.what, &row.before, &row.after].map(|text| name(text)).to_vec()).collect();
    let caption = "Edges as they are sewn, and the garment as it is worn, before and after the fittings.";
    format!(
        "<section id=\"fitting\"><h2>Fitting</h2>\n{}</section>\n",
        table(caption, &["what", "before", "after"], &rows)
    )
}
