//! One language or another: a corrected job into bytes, and bytes back into what they draw on the sheet.

use crate::calibrate::CorrectedJob;
use crate::device::{Correction, Device, Language};
use crate::diag::{Finding, Result};
use crate::lay::Sheet;
use crate::mark::MarkedPiece;
use crate::read::{self, Drawing};
use crate::role::Role;
use crate::text::ascii;
use crate::units::{INCH, trimmed};
use crate::write::{self, Curves, Dialect, Exchange, ExchangePiece};
use kurbo::{Affine, Point};

/// What a file for other programs says besides its lines.
#[derive(Clone, Copy, Default)]
pub(super) struct Said<'a> {
    pub style: &'a str,
    pub person: &'a str,
    pub imprint: super::Imprint<'a>,
    /// The pieces, whose number and cloth are said.
    pub marked: &'a [MarkedPiece],
}

/// The file of a job.
pub(super) fn write(
    job: &CorrectedJob,
    sheet: &Sheet,
    device: &Device,
    said: &Said,
    findings: &mut Vec<Finding>,
) -> Result<Vec<u8>> {
    let machine = || machine(sheet, device, &job.stamp().matrix);
    Ok(match device.language {
        Language::Svg => match device.pixel {
            Some(pixel) => write::svg_in_pixels(job, pixel),
            None => write::svg(job),
        },
        Language::Dxf => write::dxf(job, Curves::Spline),
        Language::DxfPolyline => write::dxf(job, Curves::Polyline(device.tolerance)),
        Language::DxfBlocks => write::dxf_exchange(job, &exchange(sheet, device, said, findings)?),
        Language::Pdf => {
            let pages = device.medium(&sheet.medium).and_then(|medium| medium.pages);
            let paper = pages.map(|pages| write::Paper {
                width: pages.width,
                height: pages.height,
                margins: [pages.margins.left, pages.margins.right, pages.margins.bottom, pages.margins.top],
                overlap: pages.overlap,
            });
            write::pdf(job, paper)
        }
        Language::Hpgl => write::hpgl(job, &machine(), Dialect::Hpgl)?,
        Language::Hpgl2 => write::hpgl(job, &machine(), Dialect::Hpgl2)?,
        Language::Hpgl2Encoded => write::hpgl(job, &machine(), Dialect::Encoded)?,
        Language::Rs274 => write::rs274(job, &machine())?,
    })
}

/// What a file after ASTM D6673 says, in 7-bit ASCII; what could not be said so is reported.
fn exchange(sheet: &Sheet, device: &Device, said: &Said, findings: &mut Vec<Finding>) -> Result<Exchange> {
    let mut plain = |text: &str| {
        let (plain, lost) = ascii(text);
        let finding = if plain == text {
            return plain;
        } else if lost.is_empty() {
            Finding::note(format!("in 7-bit ASCII \"{text}\" is written \"{plain}\""))
        } else {
            let lost: Vec<String> = lost.iter().map(|c| format!("{c} (U+{:04X})", u32::from(*c))).collect();
            let message = format!("\"{text}\" can't be said in 7-bit ASCII: \"{plain}\" lacks {}", lost.join(", "));
            Finding::warning(message).hint("give it a name in Latin letters for those who take the file")
        };
        if !findings.iter().any(|known| known.message == finding.message) {
            findings.push(finding);
        }
        plain
    };
    let mut pieces = Vec::with_capacity(sheet.placed.len());
    for placed in &sheet.placed {
        let marked = said.marked.iter().find(|m| m.name == placed.piece && m.person == placed.person);
        let Some(marked) = marked else {
            return Err(Finding::error("nothing is known of this piece but its lines").piece(&placed.piece).into());
        };
        let cut = &marked.cut;
        let how = match (marked.on_fold, cut.mirrored) {
            (true, _) => ", half a piece, its mirror line on the fold",
            (_, true) => ", every second one mirrored",
            _ => "",
        };
        let sewn = marked.strokes.iter().any(|stroke| stroke.role == Role::Sew);
        pieces.push(ExchangePiece {
            name: plain(&placed.piece),
            size: plain(&placed.person),
            quantity: cut.count,
            material: plain(&cut.cloth),
            category: if sewn { "with seam allowance" } else { "net, no seam allowance" }.into(),
            annotation: format!("cut {}{how}; curves within {} mm", cut.count, trimmed(device.tolerance, 4)),
            place: placed.transform,
        });
    }
    Ok(Exchange {
        tolerance: device.tolerance,
        style: plain(said.style),
        author: plain(said.imprint.author),
        date: plain(said.imprint.date),
        sample_size: plain(said.person),
        pieces,
    })
}

/// What a file draws, in the sheet's coordinates; the correction that it was written through is still in it.
pub(super) fn read_back(
    bytes: &[u8],
    file: &str,
    sheet: &Sheet,
    device: &Device,
    correction: Option<&Correction>,
) -> Result<(Drawing, Vec<Finding>)> {
    let (mut drawing, findings) = match device.language {
        Language::Svg => read::svg(bytes, file)?,
        Language::Dxf | Language::DxfPolyline => read::dxf(bytes, file)?,
        Language::DxfBlocks => read::exchange_dxf(bytes, file)?,
        Language::Pdf => {
            let pages = device.medium(&sheet.medium).and_then(|medium| medium.pages);
            let glue = pages.map(|pages| read::Glue {
                margins: [pages.margins.left, pages.margins.right, pages.margins.bottom, pages.margins.top],
                overlap: pages.overlap,
            });
            read::pdf(bytes, file, glue)?
        }
        Language::Hpgl | Language::Hpgl2 | Language::Hpgl2Encoded => read::hpgl(bytes, file, device.units_per_mm)?,
        Language::Rs274 => read::rs274(bytes, file)?,
    };
    if device.language.drives_a_machine() {
        let matrix = correction.map_or(Affine::IDENTITY, |c| Affine::new([c.x, 0.0, c.skew, c.y, 0.0, 0.0]));
        let back = place(sheet, device, &matrix).inverse();
        drawing.paths.iter_mut().for_each(|bare| bare.path.apply_affine(back));
    }
    if let Some(pixel) = device.pixel {
        // A pixel is read as a 96th of an inch (CSS 2.1, 4.3.2), and is shown as large as it was measured.
        let scale = pixel / (INCH / 96.0);
        drawing.paths.iter_mut().for_each(|bare| bare.path.apply_affine(Affine::scale(scale)));
        drawing.width.iter_mut().chain(&mut drawing.height).for_each(|side| *side *= scale);
    }
    Ok((drawing, findings))
}

/// From the corrected sheet to the machine's axes, mm. `matrix` is the correction's J. A machine distorts about its own
/// zero, wherever on the sheet that lies: the zero is where J⁻¹ puts it.
fn place(sheet: &Sheet, device: &Device, matrix: &Affine) -> Affine {
    let axes = device.axes.from_sheet(sheet.width, sheet.height);
    let zero = axes.inverse() * Point::ORIGIN;
    axes * Affine::translate(zero - matrix.inverse() * zero)
}

fn machine(sheet: &Sheet, device: &Device, matrix: &Affine) -> write::Machine {
    let tools = device.tools.iter().map(|tool| write::ToolUse {
        name: tool.name.clone(),
        number: tool.number,
        force: tool.force,
        speed: tool.speed,
        power: tool.power,
        heights: tool.heights.map(|heights| (heights.up, heights.down)),
    });
    write::Machine {
        tolerance: device.tolerance,
        units_per_mm: device.units_per_mm,
        largest: device.largest,
        place: place(sheet, device, matrix),
        start: device.start.clone(),
        end: device.end.clone(),
        tools: tools.collect(),
    }
}
