//! A profile in plain words.

use super::{
    Axes, Blocks, Device, Flow, Language, Link, Margins, Medium, MediumKind, Notches, Pages, Sequence, Tip, Tool,
    ToolKind,
};
use crate::role::Role;
use crate::units::{Unit, format_length, trimmed};

/// What the machine is, in a few words: `pen plotter`, `drag-knife cutter`.
pub fn kind(device: &Device) -> &'static str {
    if device.pixel.is_some() {
        return "projector";
    }
    let tips: Vec<Tip> = device.tools.iter().filter(|tool| tool.kind == ToolKind::Knife).map(|tool| tool.tip).collect();
    let has = |wanted: fn(&Tip) -> bool| tips.iter().any(wanted);
    match device.language {
        _ if has(|tip| matches!(tip, Tip::Laser { .. })) => "laser",
        _ if has(|tip| matches!(tip, Tip::Router { .. })) => "router",
        _ if has(|tip| matches!(tip, Tip::Turning { .. })) => "tangential-knife cutter",
        _ if has(|tip| matches!(tip, Tip::Drag { .. })) => "drag-knife cutter",
        _ if !tips.is_empty() => "knife cutter",
        Language::DxfBlocks => "file for other programs",
        Language::Pdf => "printer",
        _ => "pen plotter",
    }
}

/// What the machine will do with a job, line by line, in plain words.
pub fn explain(device: &Device) -> Vec<String> {
    let mut lines = vec![format!("{}: a {}.", device.name, kind(device))];
    lines.push(language(device));
    lines.extend(device.media.iter().map(medium));
    lines.extend(axes(device));
    lines.push(
        match device.blocks {
            Blocks::WithAllowance => "Pieces come with their seam allowance.",
            Blocks::Net => "Pieces come as net blocks, without allowance.",
        }
        .into(),
    );
    lines.push(
        match device.notches() {
            Notches::Drawn => "Notches are drawn.",
            Notches::Cut => "Notches are cut.",
            Notches::LeftOut => "Notches are left out.",
        }
        .into(),
    );
    for (index, each) in device.tools.iter().enumerate() {
        lines.push(tool(index + 1, each));
    }
    let left_out: Vec<&str> = Role::ALL
        .into_iter()
        .filter(|role| !device.tools.iter().any(|tool| tool.roles.contains(role)))
        .map(Role::name)
        .collect();
    if !left_out.is_empty() {
        lines.push(format!("Left out: {}.", left_out.join(", ")));
    }
    if device.tools.len() > 1 {
        lines.push(
            match device.sequence {
                Sequence::ToolByTool => "The tool changes once a sheet: one tool finishes before the next begins.",
                Sequence::PieceByPiece => "Every piece is finished, with all tools, before the next is begun.",
            }
            .into(),
        );
    }
    if device.has_head() {
        lines.push(format!(
            "With a tool up its head goes {} mm a second; going down and up takes {} s. That is for the estimate of time.",
            trimmed(device.travel_speed, 1),
            trimmed(device.lift_seconds, 3)
        ));
    }
    lines.extend(device.links.iter().map(link));
    if device.language.is_for_exchange() {
        lines.push("It is no machine's file, so nothing is corrected: the sizes are the pieces' own.".into());
    } else if device.corrections.is_empty() {
        lines.push("It was never measured, so nothing is corrected.".into());
    }
    for medium in &device.media {
        if let Some(correction) = device.correction(&medium.name) {
            lines.push(format!(
                "Measured on {} on {}: what should be 1000 mm comes out {} mm along x and {} mm along y; files make up for it.",
                medium.name,
                correction.date,
                trimmed(correction.x * 1000.0, 1),
                trimmed(correction.y * 1000.0, 1)
            ));
        }
    }
    lines.extend(cautions(device).into_iter().map(Into::into));
    lines
}

/// What to mind before a machine with those tools runs; the maker's manual comes first.
pub fn cautions(device: &Device) -> Vec<&'static str> {
    let mut cautions = Vec::new();
    let tips: Vec<Tip> = device.tools.iter().map(|tool| tool.tip).collect();
    if device.cuts() {
        cautions.push("Caution: it cuts. The maker's manual and the rules of the house come first.");
        cautions.push(
            "Keep hands, hair, sleeves and the tape measure clear while it runs, know its stop switch, stay with it.",
        );
    }
    if tips.iter().any(|tip| matches!(tip, Tip::Laser { .. })) {
        cautions.push(
            "A laser burns and blinds: lid closed, fumes drawn off, the maker's goggles where it has no lid, nothing in the bed that the maker forbids, and never out of sight: card catches fire.",
        );
    }
    if tips.iter().any(|tip| matches!(tip, Tip::Router { .. })) {
        cautions.push("A router throws chips and loose pieces: eyes covered, dust drawn off, the sheet clamped down.");
    }
    if device.cuts() && !device.tools.iter().any(|tool| tool.bridges.is_some()) {
        cautions.push("Pieces come loose as they are cut: hold the sheet down by a mat or suction, never by hand.");
    }
    cautions
}

fn language(device: &Device) -> String {
    let language = match device.language {
        Language::Svg => match device.pixel {
            Some(pixel) => {
                return format!(
                    "Its files are SVG in pixels of {} mm, as measured on the table: show them at 100 %.",
                    trimmed(pixel, 4)
                );
            }
            None => "SVG at true size",
        },
        Language::Dxf => "DXF in millimetres, curves as splines",
        Language::DxfPolyline => "DXF in millimetres, curves as polylines",
        Language::DxfBlocks => "DXF in millimetres after ASTM D6673, a block for each piece, curves as polylines",
        Language::Pdf => "PDF at true size: print them at 100 %, never fitted to the page",
        Language::Hpgl => "HP-GL",
        Language::Hpgl2 => "HP-GL/2",
        Language::Hpgl2Encoded => "HP-GL/2, polylines encoded",
        Language::Rs274 => "RS-274 in millimetres",
    };
    let steps = match device.language {
        Language::Hpgl | Language::Hpgl2 | Language::Hpgl2Encoded => {
            format!(", {} steps a millimetre", trimmed(device.units_per_mm, 4))
        }
        _ => String::new(),
    };
    let largest = device.largest.map_or(String::new(), |largest| format!(", no coordinate over {largest}"));
    format!("Its files are {language}{steps}{largest}.")
}

fn medium(medium: &Medium) -> String {
    let name = &medium.name;
    let gap = format!("{} between pieces", both(medium.gap));
    if let Some(pages) = &medium.pages {
        let Pages { width, height, overlap, across, along, .. } = pages;
        return format!(
            "On {name}: pages of {} × {}, margins {}, glued with {} overlap, {across} side by side and up to {along} behind one another; {gap}.",
            both(*width),
            both(*height),
            sides(pages.margins),
            both(*overlap)
        );
    }
    let shape = match medium.kind {
        MediumKind::Roll { width, longest } => {
            format!("a roll {} wide, plots up to {} long", both(width), both(longest))
        }
        MediumKind::Sheet { width, height } => format!("sheets of {} × {}", both(width), both(height)),
    };
    format!("On {name}: {shape}, margins {}, {gap}.", sides(medium.margins))
}

fn sides(margins: Margins) -> String {
    let Margins { left, right, bottom, top } = margins;
    if margins == Margins::all(left) {
        return both(left);
    }
    format!("left {}, right {}, bottom {}, top {}", both(left), both(right), both(bottom), both(top))
}

/// In millimetres and inches.
fn both(mm: f64) -> String {
    if mm < 1.0 {
        return format!("{} mm", trimmed(mm, 2));
    }
    format!("{} mm ({})", trimmed(mm, 1), format_length(mm, Unit::Inch))
}

fn axes(device: &Device) -> Option<String> {
    let Axes { origin, x, y } = device.axes;
    (device.axes != Axes::SHEET)
        .then(|| format!("Its zero lies at the {}; x grows {}, y {}.", origin.name(), x.name(), y.name()))
}

fn tool(number: usize, tool: &Tool) -> String {
    let does = match tool.kind {
        ToolKind::Pen => "draws",
        ToolKind::Crease => "creases",
        ToolKind::Knife => "cuts",
    };
    let roles: Vec<&str> = tool.roles.iter().map(|role| role.name()).collect();
    let mut parts = vec![format!("Tool {number}, \"{}\", {does} {}", tool.name, roles.join(", "))];
    parts.extend(match tool.tip {
        Tip::Plain => None,
        Tip::Drag { offset, swing_above, overcut, run_in } => Some(format!(
            "its blade trails by {} mm, swings round corners over {}°, runs in over {} mm and cuts {} mm past the start",
            trimmed(offset, 3),
            trimmed(swing_above, 1),
            trimmed(run_in, 2),
            trimmed(overcut, 2)
        )),
        Tip::Turning { lift_above } => {
            Some(format!("it is lifted and turned at corners over {}°", trimmed(lift_above, 1)))
        }
        Tip::Laser { kerf } => Some(format!("it burns away {} mm; the line keeps off by half of that", trimmed(kerf, 3))),
        Tip::Router { kerf } => {
            Some(format!("it mills away {} mm; the line keeps off by half of that", trimmed(kerf, 3)))
        }
    });
    parts.extend(tool.force.map(|grams| format!("force {} g", trimmed(grams, 1))));
    parts.extend(tool.speed.map(|speed| format!("{} mm a second", trimmed(speed, 1))));
    parts.extend(tool.power.map(|power| format!("power S{}", trimmed(power, 1))));
    parts.extend(
        tool.heights
            .map(|heights| format!("up at {} mm, down at {} mm", trimmed(heights.up, 2), trimmed(heights.down, 2))),
    );
    parts.extend((tool.passes > 1).then(|| format!("{} passes over each line", tool.passes)));
    parts.extend(tool.bridges.map(|bridges| {
        format!("leaves bridges of {} mm at least every {} mm", trimmed(bridges.length, 2), trimmed(bridges.every, 1))
    }));
    parts.join("; ") + "."
}

fn link(link: &Link) -> String {
    match link {
        Link::Serial { port, baud, flow } => {
            let flow = match flow {
                Flow::RtsCts => "RTS/CTS",
                Flow::XonXoff => "XON/XOFF",
            };
            format!("Jobs may be sent to the serial port {port} at {baud} baud, {flow}.")
        }
        Link::Tcp { host, port } => format!("Jobs may be sent to {host}, port {port}."),
        Link::Queue { name } => format!("Jobs may be sent to the print queue {name}."),
        Link::Folder { path } => format!("Jobs may be put into the folder {path}."),
    }
}
