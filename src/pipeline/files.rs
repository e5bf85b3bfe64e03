//! One language or another: a corrected job into bytes, and bytes back into what they draw on the sheet.

use crate::calibrate::CorrectedJob;
use crate::device::{Correction, Device, Language};
use crate::diag::{Finding, Result};
use crate::lay::Sheet;
use crate::read::{self, Drawing};
use crate::units::INCH;
use crate::write::{self, Curves, Dialect};
use kurbo::{Affine, Point};

/// The file of a job.
pub(super) fn write(job: &CorrectedJob, sheet: &Sheet, device: &Device) -> Result<Vec<u8>> {
    let machine = || machine(sheet, device, &job.stamp().matrix);
    Ok(match device.language {
        Language::Svg => match device.pixel {
            Some(pixel) => write::svg_in_pixels(job, pixel),
            None => write::svg(job),
        },
        Language::Dxf => write::dxf(job, Curves::Spline),
        Language::DxfPolyline => write::dxf(job, Curves::Polyline(device.tolerance)),
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
