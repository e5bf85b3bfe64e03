//! Where a file may be parted: its instructions, and the strokes between which the tool is up.

use crate::device::Language;
use std::ops::Range;

/// A file that a machine follows, taken apart. All ranges are bytes.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Cut {
    /// What comes before the first tool: sent again before the job is taken up again.
    pub head: Range<usize>,
    /// From lowering the tool to lifting it, in order.
    pub strokes: Vec<Stroke>,
    /// Ends of instructions, in order; the last is the file's end.
    pub ends: Vec<usize>,
    /// What lifts and parks the tool.
    pub park: String,
}

/// One stroke.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Stroke {
    /// Its bytes.
    pub range: Range<usize>,
    /// The bytes that chose and set its tool.
    pub setup: Range<usize>,
}

/// Takes a file apart; `None` for a language that is not followed line by line, whose file is sent whole.
pub fn cut(bytes: &[u8], language: Language) -> Option<Cut> {
    match language {
        Language::Hpgl | Language::Hpgl2 | Language::Hpgl2Encoded => Some(hpgl(bytes)),
        Language::Rs274 => Some(rs274(bytes)),
        Language::Svg | Language::Dxf | Language::DxfPolyline | Language::DxfBlocks | Language::Pdf => None,
    }
}

/// What an instruction does to strokes.
enum Does {
    /// Chooses a tool.
    Chooses,
    /// Goes with the tool up to where a stroke begins.
    Approaches,
    /// Lifts the tool and nothing else.
    Lifts,
    /// Anything else.
    Other,
}

fn gather(ends: Vec<usize>, does: impl Fn(Range<usize>) -> Does, park: String) -> Cut {
    let mut strokes = Vec::new();
    let mut setup: Option<Range<usize>> = None;
    let mut begun: Option<usize> = None;
    let mut choosing = false;
    let mut from = 0;
    for &end in &ends {
        match does(from..end) {
            Does::Chooses => {
                setup = Some(from..end);
                choosing = true;
            }
            Does::Approaches => {
                begun.get_or_insert(from);
                choosing = false;
            }
            Does::Lifts => {
                if let (Some(start), Some(setup)) = (begun.take(), setup.clone()) {
                    strokes.push(Stroke { range: start..end, setup });
                }
                if choosing && let Some(setup) = &mut setup {
                    setup.end = end;
                }
            }
            Does::Other if choosing => {
                if let Some(setup) = &mut setup {
                    setup.end = end;
                }
            }
            Does::Other => {}
        }
        from = end;
    }
    let head = 0..strokes.first().map_or(0, |stroke: &Stroke| stroke.setup.start);
    Cut { head, strokes, ends, park }
}

/// Instructions end in semicolons; a line break behind one belongs to it. A comment's quotes hold none.
fn hpgl(bytes: &[u8]) -> Cut {
    let mut ends = Vec::new();
    for (at, _) in bytes.iter().enumerate().filter(|(_, byte)| **byte == b';') {
        let breaks = bytes[at + 1..].iter().take_while(|byte| matches!(byte, b'\n' | b'\r')).count();
        ends.push(at + 1 + breaks);
    }
    if ends.last() != Some(&bytes.len()) && !bytes.is_empty() {
        ends.push(bytes.len());
    }
    let does = |range: Range<usize>| {
        let text = bytes[range].trim_ascii();
        match text {
            b"PU;" => Does::Lifts,
            _ if text.starts_with(b"SP") && text != b"SP0;" => Does::Chooses,
            _ if text.starts_with(b"PU") || text.starts_with(b"PE") => Does::Approaches,
            _ => Does::Other,
        }
    };
    gather(ends, does, "PU;SP0;\n".into())
}

/// Instructions are lines.
fn rs274(bytes: &[u8]) -> Cut {
    let mut ends: Vec<usize> =
        bytes.iter().enumerate().filter(|(_, byte)| **byte == b'\n').map(|(at, _)| at + 1).collect();
    if ends.last() != Some(&bytes.len()) && !bytes.is_empty() {
        ends.push(bytes.len());
    }
    let line = |range: Range<usize>| String::from_utf8_lossy(&bytes[range]).trim().to_owned();
    let does = |range: Range<usize>| {
        let text = line(range);
        if text.starts_with('T') {
            Does::Chooses
        } else if text.starts_with("G0 X") {
            Does::Approaches
        } else if text == "M5" || text.starts_with("G0 Z") {
            Does::Lifts
        } else {
            Does::Other
        }
    };
    // As high as its own file lifts it.
    let mut from = 0;
    let lift = ends.iter().find_map(|end| {
        let text = line(from..*end);
        from = *end;
        text.starts_with("G0 Z").then_some(text + "\n")
    });
    gather(ends, does, lift.unwrap_or_default() + "M5\nM2\n")
}

impl Cut {
    /// The stroke that is at work at a byte, or comes next.
    pub fn stroke_at(&self, byte: usize) -> usize {
        self.strokes.partition_point(|stroke| stroke.range.end <= byte)
    }

    /// What is sent to take the job up again from a stroke on.
    pub fn from_stroke(&self, bytes: &[u8], stroke: usize) -> Vec<u8> {
        let Stroke { range, setup } = &self.strokes[stroke];
        [&bytes[self.head.clone()], &bytes[setup.clone()], &bytes[range.start..]].concat()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn strokes_and_their_tools_are_found() {
        let file = b"IN;\nPU;SP1;VS20;\nPU0,0;PD40,0,40,40;PD0,0;PU;\nPE7<=AA;PU;\nPU;SP2;\nPU9,9;PD8,8;PU;\nPU;SP0;\n";
        let cut = cut(file, Language::Hpgl).expect("has strokes");
        let text = |range: &Range<usize>| std::str::from_utf8(&file[range.clone()]).expect("ASCII");
        let strokes: Vec<&str> = cut.strokes.iter().map(|stroke| text(&stroke.range)).collect();
        assert_eq!(strokes, ["PU0,0;PD40,0,40,40;PD0,0;PU;\n", "PE7<=AA;PU;\n", "PU9,9;PD8,8;PU;\n"]);
        assert_eq!(text(&cut.strokes[1].setup), "SP1;VS20;\n");
        assert_eq!(text(&cut.strokes[2].setup), "SP2;\n");
        assert_eq!(cut.from_stroke(file, 2), b"IN;\nPU;SP2;\nPU9,9;PD8,8;PU;\nPU;SP0;\n");
        assert_eq!(cut.stroke_at(cut.strokes[1].range.start + 2), 1);

        let file = b"(x)\nG21 G90\nM5\n(pen)\nT1\nG0 Z5\nG0 X1 Y1\nM3 S0\nG1 Z-1 F60\nG1 X2 Y2\nG0 Z5\nM5\nM2\n";
        let cut = super::cut(file, Language::Rs274).expect("has strokes");
        assert_eq!(cut.strokes.len(), 1);
        assert_eq!(cut.park, "G0 Z5\nM5\nM2\n");
        assert_eq!(&file[cut.strokes[0].setup.clone()], b"T1\nG0 Z5\n");
        assert!(super::cut(b"<svg/>", Language::Svg).is_none());
    }
}
