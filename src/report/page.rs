//! The proof sheet, section by section.

use super::drawing;
use super::html::{clean, escape, facts, name, table};
use super::text::runs_through;
use super::words::{
    area, count, difference, ease, exact, fine, finish, how_many, layer, length, letter, pressed, severity, size,
    unit_name,
};
use super::{FileLine, ProofSheet, making, strips, way};
use crate::allow::CutPiece;
use crate::diag::{Finding, Severity};
use crate::geom::path;
use crate::lay::Sheet;
use crate::mark::MarkedPiece;
use crate::piece::{Edge, Piece};
use crate::role::Role;
use crate::units::{Unit, trimmed};
use crate::walk::{WalkedJoin, WalkedSpan};
use kurbo::{Shape, Size};
use std::fmt::Write;

pub(super) const STYLE: &str = include_str!("page.css");

/// Room for a drawing of a piece, and for a drawing of a sheet: what A4 and Letter both hold within 12 mm margins, less
/// a heading, mm.
const PIECE_ROOM: Size = Size::new(120.0, 170.0);
pub(super) const SHEET_ROOM: Size = Size::new(160.0, 160.0);

/// The proof sheet as one HTML 5 page in UTF-8: findings first, then files, cutting list, pieces, seams, sheets and
/// measures. Lengths are in the set's unit, proofs in mm. Same content, same bytes.
pub fn proof_sheet(content: &ProofSheet) -> String {
    let set = content.set;
    let title =
        if set.person.is_empty() { clean(&set.style) } else { clean(&format!("{} for {}", set.style, set.person)) };
    // The long sections, side by side.
    let ((pieces, sheets), ways) =
        rayon::join(|| rayon::join(|| pieces(content), || sheets(content)), || way::section(content.ways, set.unit));
    let mut out = String::with_capacity(64 * 1024 + pieces.len() + sheets.len() + ways.len());
    let _ = write!(
        out,
        "<!DOCTYPE html>\n<html lang=\"en-GB\"><head><meta charset=\"utf-8\">\
         <meta http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; style-src 'unsafe-inline'{}\">\
         <meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\
         <meta name=\"color-scheme\" content=\"light dark\"><title>{}: proof sheet</title>\n<style>\n{STYLE}</style></head>\n<body>\n",
        if content.ways.is_empty() { String::new() } else { format!("; script-src '{}'", way::SCRIPT_IS) },
        escape(&title)
    );
    out.push_str(&heading(content));
    out.push_str("<main>\n");
    out.push_str(&findings(content.findings));
    out.push_str(&files(content.files, set.unit));
    out.push_str(&cutting_list(content.pieces, set.unit));
    out.push_str(&pieces);
    out.push_str(&seams(content.walked, set.unit));
    out.push_str(&strips::section(content.walked, set.unit));
    out.push_str(&making::section(set, content.walked));
    out.push_str(&sheets);
    out.push_str(&ways);
    out.push_str(&super::cloth::section(content.cloths));
    out.push_str(&super::fitting::section(content.fitting));
    out.push_str(&measures(content));
    out.push_str("</main>\n</body></html>\n");
    out
}

/// Style, person, date and unit, and whether to cut.
fn heading(content: &ProofSheet) -> String {
    let set = content.set;
    let mut parts = Vec::new();
    if !set.person.is_empty() {
        parts.push(format!("for <strong>{}</strong>", escape(&set.person)));
    }
    if !set.taken.is_empty() {
        parts.push(format!("measures taken {}", escape(&set.taken)));
    }
    parts.push(format!("lengths in {}", unit_name(set.unit)));
    format!(
        "<header><p class=\"kind\">Proof sheet</p><h1>{}</h1><p>{}</p>\n{}</header>\n",
        escape(&set.style),
        parts.join(", "),
        verdict(content)
    )
}

/// One box that says whether to cut, and if not why.
fn verdict(content: &ProofSheet) -> String {
    let held = content.findings.iter().filter(|f| f.severity >= Severity::Breach).count();
    let failed = content.files.iter().filter(|file| !file.passed).count();
    let apart = content.walked.iter().filter(|join| !join.agrees).count();
    let mut reasons = Vec::new();
    if held > 0 {
        reasons.push(format!("{} to put right", count(held, "finding")));
    }
    if failed > 0 {
        reasons.push(format!("{} that failed its proof", count(failed, "file")));
    }
    if apart > 0 {
        reasons.push(format!("{} whose sides differ from the plan", count(apart, "seam")));
    }
    if !reasons.is_empty() {
        return format!("<p class=\"verdict hold\"><strong>Do not cut yet:</strong> {}.</p>\n", reasons.join("; "));
    }
    if content.files.is_empty() {
        return "<p class=\"verdict\"><strong>Nothing written yet.</strong> Nothing was found that would hold it back.</p>\n".into();
    }
    "<p class=\"verdict good\"><strong>Every file passed its proof.</strong> Look the pieces over, then measure the check \
     square on the first sheet with a rule before you cut anything from it.</p>\n"
        .into()
}

/// The worst first, each with its next step.
fn findings(findings: &[Finding]) -> String {
    let mut out = String::from("<section id=\"findings\"><h2>What to look at</h2>\n");
    if findings.is_empty() {
        out.push_str("<p>Nothing: no stage found anything odd.</p></section>\n");
        return out;
    }
    let mut sorted: Vec<&Finding> = findings.iter().collect();
    sorted.sort_by_key(|finding| std::cmp::Reverse(finding.severity));
    out.push_str("<ul class=\"findings\">\n");
    for finding in sorted {
        let kind = if finding.severity >= Severity::Breach { "hold" } else { "look" };
        let _ = write!(
            out,
            "<li class=\"{kind}\"><strong>{}:</strong> {}",
            severity(finding.severity),
            escape(&finding.message)
        );
        let place = finding.place();
        if !place.is_empty() {
            let _ = write!(out, "<br><span class=\"place\">Where: {}</span>", escape(&place));
        }
        if let Some(hint) = &finding.hint {
            let _ = write!(out, "<br>What to do: {}", escape(hint));
        }
        out.push_str("</li>\n");
    }
    out.push_str("</ul></section>\n");
    out
}

fn verdict_cell(good: bool, yes: &str, no: &str) -> String {
    let (class, text) = if good { ("good", yes) } else { ("hold", no) };
    format!("<span class=\"mark {class}\">{text}</span>")
}

fn files(files: &[FileLine], unit: Unit) -> String {
    if files.is_empty() {
        return String::new();
    }
    let rows: Vec<Vec<String>> = files
        .iter()
        .map(|file| {
            vec![
                name(&file.file),
                name(&file.device),
                file.pieces.to_string(),
                size(Size::new(file.width, file.height), unit),
                name(&file.used),
                format!("{} <small>of {} allowed</small>", fine(file.largest), fine(file.allowed)),
                verdict_cell(file.passed, "passed", "failed: do not cut from it"),
            ]
        })
        .collect();
    let columns = ["file", "machine", "pieces", "size", "takes up", "largest difference", "proof"];
    format!(
        "<section id=\"files\"><h2>Files</h2>\n{}</section>\n",
        table("Each file was read back and measured against its pieces.", &columns, &rows)
    )
}

/// Net and cut size of a piece, as it lies in the draft.
struct Sizes {
    net: Size,
    cut: Size,
    net_area: f64,
    cut_area: f64,
}

fn sizes(cut_piece: &CutPiece) -> Sizes {
    let net = cut_piece.piece.outline();
    Sizes {
        net: drawing::bounds(&net).size(),
        cut: drawing::bounds(&cut_piece.cut_line).size(),
        net_area: net.area(),
        cut_area: cut_piece.cut_line.area(),
    }
}

fn cutting_list(pieces: &[CutPiece], unit: Unit) -> String {
    if pieces.is_empty() {
        return String::new();
    }
    let rows: Vec<Vec<String>> = pieces
        .iter()
        .enumerate()
        .map(|(index, cut_piece)| {
            let piece = &cut_piece.piece;
            let sizes = sizes(cut_piece);
            vec![
                format!("<a href=\"#piece-{}\">{}</a>", index + 1, name(&piece.name)),
                how_many(&piece.cut, piece.fold().is_some()),
                name(&piece.cut.cloth),
                size(sizes.net, unit),
                size(sizes.cut, unit),
            ]
        })
        .collect();
    let columns = ["piece", "cut", "cloth", "net size", "cut size"];
    format!(
        "<section id=\"cutting\"><h2>Cutting list</h2>\n{}</section>\n",
        table("Width by height. A piece on the fold is measured as half, up to its fold.", &columns, &rows)
    )
}

fn pieces(content: &ProofSheet) -> String {
    if content.pieces.is_empty() {
        return String::new();
    }
    let drawn = |name: &str| content.marked.iter().find(|marked| marked.name == name);
    let extents = content.pieces.iter().filter_map(|piece| drawn(&piece.piece.name)).map(|m| drawing::extent(m).size());
    let scale = drawing::scale_for(extents, PIECE_ROOM);
    let mut out = format!(
        "<section id=\"pieces\"><h2>Pieces</h2>\n<p>Drawn at 1 : {} on paper; a narrow screen shrinks them, bar and all. \
         A letter inside an edge is its row in the table.</p>\n{}",
        trimmed(scale, 1),
        layers(content)
    );
    for (index, cut_piece) in content.pieces.iter().enumerate() {
        out.push_str(&piece(index, cut_piece, drawn(&cut_piece.piece.name), scale, content.set.unit));
    }
    out.push_str("</section>\n");
    out
}

/// A box to tick for each layer that some drawing has. The style sheet hides the others; no script is needed.
fn layers(content: &ProofSheet) -> String {
    let on_pieces = content.marked.iter().flat_map(|piece| &piece.strokes).map(|stroke| stroke.role);
    let on_sheets = content.sheets.iter().copied().flatten().flat_map(|sheet| &sheet.strokes).map(|stroke| stroke.role);
    let used: Vec<Role> = on_pieces.chain(on_sheets).collect();
    let mut out = String::from("<fieldset class=\"layers\"><legend>Show</legend>");
    for role in Role::ALL.into_iter().filter(|role| used.contains(role)) {
        let _ = write!(
            out,
            "<label><input type=\"checkbox\" id=\"show-{0}\" checked><i class=\"key {0}\"></i>{1}</label>",
            role.name(),
            layer(role)
        );
    }
    out.push_str("<label><input type=\"checkbox\" id=\"show-letters\" checked>edge letters</label></fieldset>\n");
    out
}

fn piece(index: usize, cut_piece: &CutPiece, marked: Option<&MarkedPiece>, scale: f64, unit: Unit) -> String {
    let piece = &cut_piece.piece;
    let name = name(&piece.name);
    let mut out = format!("<article id=\"piece-{}\"><h3>{name}</h3>\n<div class=\"beside\">", index + 1);
    let lettered: Vec<_> = piece.edges.iter().enumerate().map(|(i, edge)| (letter(i), edge)).collect();
    if let Some(marked) = marked {
        let title = format!("{}, drawn to scale", piece.name);
        let _ = write!(out, "<figure>{}</figure>", drawing::piece(marked, &lettered, scale, unit, &title));
    }
    out.push_str("<div>");
    out.push_str(&piece_facts(cut_piece, unit));
    out.push_str(&edge_table(piece, &lettered, unit));
    out.push_str("</div></div></article>\n");
    out
}

fn edge_table(piece: &Piece, lettered: &[(String, &Edge)], unit: Unit) -> String {
    let next = lettered.iter().cycle().skip(1);
    let rows: Vec<Vec<String>> = lettered
        .iter()
        .zip(next)
        .map(|((letter, edge), (_, next))| {
            vec![
                format!("<b>{letter}</b> {}", name(&edge.name)),
                length(path::length(&edge.path), unit),
                if edge.fold { "on the fold".into() } else { length(edge.allowance, unit) },
                // Nothing is cut along a fold, so nothing is finished at its ends.
                if edge.fold || next.fold { "at the fold" } else { finish(edge.corner) }.into(),
            ]
        })
        .collect();
    let columns = ["edge", "net length", "allowance", "corner after it"];
    format!("<div class=\"edges\">{}</div>", table(&format!("Edges of {}", piece.name), &columns, &rows))
}

fn piece_facts(cut_piece: &CutPiece, unit: Unit) -> String {
    let piece = &cut_piece.piece;
    let sizes = sizes(cut_piece);
    let mut rows = vec![
        (
            "cut".to_string(),
            format!("{} from {}", how_many(&piece.cut, piece.fold().is_some()), name(&piece.cut.cloth)),
        ),
        ("net size".into(), size(sizes.net, unit)),
        ("cut size".into(), size(sizes.cut, unit)),
        ("net area".into(), area(sizes.net_area, unit)),
        ("cut area".into(), area(sizes.cut_area, unit)),
    ];
    if piece.fold().is_some() {
        rows.push(("on the fold".into(), "sizes and areas are of the half".into()));
    }
    rows.extend(folds(piece, unit));
    facts(&rows)
}

/// Darts and pleats, a line each.
fn folds(piece: &Piece, unit: Unit) -> Vec<(String, String)> {
    let mut rows = Vec::new();
    for dart in &piece.darts {
        let middle = piece
            .edge(&dart.edge)
            .and_then(|edge| path::point_at(&edge.path, f64::midpoint(dart.mouth[0], dart.mouth[1])));
        let long = middle.map_or(f64::NAN, |(at, _)| at.distance(dart.apex));
        let text = format!(
            "on {}: {} wide, {} long, {}",
            escape(&dart.edge),
            length((dart.mouth[1] - dart.mouth[0]).abs(), unit),
            length(long, unit),
            pressed(piece, &dart.edge, dart.pressed)
        );
        rows.push(("dart".to_string(), text));
    }
    for pleat in &piece.pleats {
        let text = format!(
            "on {}: folds {} apart, {} long, {}",
            escape(&pleat.edge),
            length((pleat.mouth[1] - pleat.mouth[0]).abs(), unit),
            length(pleat.length, unit),
            pressed(piece, &pleat.edge, pleat.pressed)
        );
        rows.push(("pleat".to_string(), text));
    }
    rows
}

fn seams(walked: &[WalkedJoin], unit: Unit) -> String {
    if walked.is_empty() {
        return String::new();
    }
    let side = |spans: &[WalkedSpan], whole: f64| {
        let links: Vec<String> = spans
            .iter()
            .map(|link| match spans {
                [_] => name(&link.span),
                _ => format!("{} {}", name(&link.span), length(link.length, unit)),
            })
            .collect();
        format!("{}<br><small>{}</small>", length(whole, unit), links.join("<br>"))
    };
    let rows: Vec<Vec<String>> = walked
        .iter()
        .map(|join| {
            vec![
                name(&join.name),
                side(&join.sides[0], join.lengths[0]),
                side(&join.sides[1], join.lengths[1]),
                ease(join.planned, unit),
                difference(join.difference, unit),
                verdict_cell(join.agrees, "agrees", "does not agree"),
                runs_through(join),
            ]
        })
        .collect();
    let columns = ["seam", "first side", "second side", "planned ease", "difference", "result", "runs through"];
    format!(
        "<section id=\"seams\"><h2>Seams walked</h2>\n{}<p>Planned ease is how much longer the first side is meant to \
         be, gathers included; the difference is what is left beyond it. “Runs through” is the angle that the two sew \
         lines make across the seam at its start and its end: 180° is smooth.</p></section>\n",
        table("Both sides of every seam, measured along the sew line.", &columns, &rows)
    )
}

fn sheets(content: &ProofSheet) -> String {
    let unit = content.set.unit;
    let extents = content.sheets.iter().copied().flatten().map(|sheet| Size::new(sheet.width, sheet.height));
    let scale = drawing::scale_for(extents, SHEET_ROOM);
    let mut out = String::new();
    for (file, sheets) in content.files.iter().zip(content.sheets) {
        if sheets.is_empty() {
            continue;
        }
        let _ = writeln!(out, "<article><h3>{} <small>for {}</small></h3>", name(&file.file), name(&file.device));
        for (index, sheet) in sheets.iter().enumerate() {
            out.push_str(&one_sheet(sheet, index, sheets.len(), scale, unit));
        }
        out.push_str("</article>\n");
    }
    if out.is_empty() {
        return out;
    }
    format!(
        "<section id=\"sheets\"><h2>Sheets</h2>\n<p>Drawn at 1 : {} on paper, each as it lies in its file, the writing \
         left out. Before a knife or a laser runs, measure the check square, keep to the machine's manual and stay \
         beside it.</p>\n{out}</section>\n",
        trimmed(scale, 1)
    )
}

fn one_sheet(sheet: &Sheet, index: usize, of: usize, scale: f64, unit: Unit) -> String {
    // A file of one sheet is told apart from the others by its name.
    let number = if of == 1 { String::new() } else { format!("Sheet {} of {of}: ", index + 1) };
    let title = format!(
        "{number}{}, {}, {}",
        sheet.medium,
        size(Size::new(sheet.width, sheet.height), unit),
        count(sheet.placed.len(), "piece")
    );
    let square = if sheet.square > 0.0 {
        format!("; its check square is {} each way", exact(sheet.square, unit))
    } else {
        String::new()
    };
    format!(
        "<figure>{}<figcaption>{}{square}</figcaption></figure>\n",
        drawing::sheet(sheet, scale, unit, &title),
        escape(&title)
    )
}

fn measures(content: &ProofSheet) -> String {
    let mut out = String::new();
    if !content.measures.is_empty() {
        let rows: Vec<Vec<String>> = content
            .measures
            .iter()
            .map(|row| [&row.name, &row.body, &row.ease, &row.finished].map(|text| name(text)).to_vec())
            .collect();
        out.push_str(&table("On the body and on the garment.", &["measure", "body", "ease", "finished"], &rows));
    }
    if !content.set.choices.is_empty() {
        let rows: Vec<Vec<String>> =
            content.set.choices.iter().map(|(choice, value)| vec![name(choice), name(value)]).collect();
        out.push_str(&table("Choices that shaped this draft.", &["choice", "value"], &rows));
    }
    if out.is_empty() {
        return out;
    }
    format!("<section id=\"measures\"><h2>Measures and choices</h2>\n{out}</section>\n")
}
