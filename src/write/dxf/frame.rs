//! All of a DXF file but its entities: header, tables, blocks and objects, complete enough that a strict reader has
//! nothing to repair.

use super::super::{dashes, layer as layer_name, line_type as dashes_of, line_width};
use super::Tags;
use crate::role::Role;
use kurbo::Rect;
use std::collections::BTreeSet;

/// Handles of what other records refer to.
pub(super) const MODEL_SPACE: u32 = 0x20;
const PAPER_SPACE: u32 = 0x21;
const ROOT: u32 = 0x30;
const GROUPS: u32 = 0x31;
const LAYOUTS: u32 = 0x32;
const MODEL_LAYOUT: u32 = 0x33;
const PAPER_LAYOUT: u32 = 0x34;
const PLOT_STYLES: u32 = 0x35;
const PLOT_STYLE: u32 = 0x36;
/// Table heads have the handles 1 to 9; their records start here and end below [`ROOT`]'s neighbours.
const FIRST_RECORD: u32 = 0x40;
/// The first handle for entities.
pub(super) const FIRST_FREE_HANDLE: u32 = 0x100;

/// What the frame says about the entities that it holds.
pub(super) struct Frame<'a> {
    /// Said in comments at the head of the file.
    pub comments: [&'a str; 4],
    /// What the drawing covers, mm.
    pub bounds: Rect,
    /// The first handle that no entity has.
    pub next_handle: u32,
    /// Roles and sizes of the layers that sizes laid over one another have.
    pub nested: Vec<(Role, usize)>,
}

impl Frame<'_> {
    /// The whole file.
    pub fn around(&self, entities: impl FnOnce(&mut Tags)) -> Tags {
        let mut tags = Tags::default();
        for comment in self.comments {
            tags.text(999, comment);
        }
        self.header(&mut tags);
        section(&mut tags, "CLASSES", |_| ());
        section(&mut tags, "TABLES", |tags| self.tables(tags));
        section(&mut tags, "BLOCKS", blocks);
        section(&mut tags, "ENTITIES", entities);
        section(&mut tags, "OBJECTS", objects);
        tags.put(0, "EOF");
        tags
    }

    fn header(&self, tags: &mut Tags) {
        section(tags, "HEADER", |tags| {
            tags.put(9, "$ACADVER");
            tags.put(1, "AC1015");
            tags.put(9, "$DWGCODEPAGE");
            tags.put(3, "ANSI_1252");
            tags.put(9, "$HANDSEED");
            tags.handle(5, self.next_handle);
            tags.put(9, "$INSUNITS");
            tags.put(70, 4); // millimetres
            tags.put(9, "$MEASUREMENT");
            tags.put(70, 1); // metric
            tags.put(9, "$EXTMIN");
            tags.point(10, self.bounds.origin());
            tags.put(9, "$EXTMAX");
            tags.point(10, kurbo::Point::new(self.bounds.x1, self.bounds.y1));
        });
    }

    fn tables(&self, tags: &mut Tags) {
        let mut next = FIRST_RECORD;
        let mut handle = || {
            next += 1;
            next - 1
        };
        table(tags, "VPORT", 1, 1);
        record(tags, "VPORT", handle(), 1, "AcDbViewportTableRecord", "*Active");
        let centre = self.bounds.center();
        for (code, x, y) in [(10, 0.0, 0.0), (11, 1.0, 1.0), (12, centre.x, centre.y)] {
            tags.real(code, x);
            tags.real(code + 10, y);
        }
        for (code, z) in [(16, 1.0), (17, 0.0)] {
            tags.real(code, 0.0);
            tags.real(code + 10, 0.0);
            tags.real(code + 20, z);
        }
        tags.real(40, self.bounds.height().max(self.bounds.width()).max(1.0)); // height of the view
        tags.real(41, 1.0); // its aspect
        tags.put(0, "ENDTAB");

        let dashed: Vec<Role> = Role::ALL.into_iter().filter(|&role| !dashes(role).is_empty()).collect();
        let sizes: BTreeSet<usize> = self.nested.iter().map(|(_, size)| *size).filter(|size| *size > 1).collect();
        table(tags, "LTYPE", 2, 3 + dashed.len() + sizes.len());
        for name in ["ByBlock", "ByLayer", "Continuous"] {
            line_type(tags, handle(), name, &[]);
        }
        for role in dashed {
            line_type(tags, handle(), role.name(), dashes(role));
        }
        for &size in &sizes {
            line_type(tags, handle(), &size_type(size), dashes_of(Role::Cut, size));
        }
        tags.put(0, "ENDTAB");

        table(tags, "LAYER", 3, 1 + Role::ALL.len() + self.nested.len());
        layer(tags, handle(), "0", "Continuous", 0.25);
        for role in Role::ALL {
            let line_type = if dashes(role).is_empty() { "Continuous" } else { role.name() };
            layer(tags, handle(), role.name(), line_type, line_width(role));
        }
        for &(role, size) in &self.nested {
            let line_type = match dashes_of(role, size) {
                [] => "Continuous".into(),
                _ if role == Role::Cut => size_type(size),
                _ => role.name().into(),
            };
            layer(tags, handle(), &layer_name(role, size), &line_type, line_width(role));
        }
        tags.put(0, "ENDTAB");

        table(tags, "STYLE", 4, 1);
        record(tags, "STYLE", handle(), 4, "AcDbTextStyleTableRecord", "Standard");
        tags.real(40, 0.0); // height is not fixed
        tags.real(41, 1.0); // width factor
        tags.real(50, 0.0); // not slanted
        tags.put(71, 0);
        tags.real(42, 2.5); // last height used
        tags.put(3, "txt");
        tags.put(4, "");
        tags.put(0, "ENDTAB");

        for (name, table_handle) in [("VIEW", 5), ("UCS", 6)] {
            table(tags, name, table_handle, 0);
            tags.put(0, "ENDTAB");
        }

        table(tags, "APPID", 7, 1);
        record(tags, "APPID", handle(), 7, "AcDbRegAppTableRecord", "ACAD");
        tags.put(0, "ENDTAB");

        table(tags, "DIMSTYLE", 8, 1);
        tags.put(100, "AcDbDimStyleTable");
        record(tags, "DIMSTYLE", handle(), 8, "AcDbDimStyleTableRecord", "Standard");
        tags.put(0, "ENDTAB");

        table(tags, "BLOCK_RECORD", 9, 2);
        for (name, own, layout) in
            [("*Model_Space", MODEL_SPACE, MODEL_LAYOUT), ("*Paper_Space", PAPER_SPACE, PAPER_LAYOUT)]
        {
            record(tags, "BLOCK_RECORD", own, 9, "AcDbBlockTableRecord", name);
            tags.handle(340, layout);
        }
        tags.put(0, "ENDTAB");
    }
}

/// The name of a size's line type.
fn size_type(size: usize) -> String {
    format!("size-{size}")
}

pub(super) fn section(tags: &mut Tags, name: &str, content: impl FnOnce(&mut Tags)) {
    tags.put(0, "SECTION");
    tags.put(2, name);
    content(tags);
    tags.put(0, "ENDSEC");
}

fn table(tags: &mut Tags, name: &str, handle: u32, records: usize) {
    tags.put(0, "TABLE");
    tags.put(2, name);
    tags.handle(5, handle);
    tags.handle(330, 0);
    tags.put(100, "AcDbSymbolTable");
    tags.put(70, records);
}

fn record(tags: &mut Tags, kind: &str, handle: u32, table: u32, class: &str, name: &str) {
    tags.put(0, kind);
    tags.handle(if kind == "DIMSTYLE" { 105 } else { 5 }, handle);
    tags.handle(330, table);
    tags.put(100, "AcDbSymbolTableRecord");
    tags.put(100, class);
    tags.put(2, name);
    if kind != "BLOCK_RECORD" {
        tags.put(70, 0);
    }
}

/// Dashes positive, gaps negative.
fn line_type(tags: &mut Tags, handle: u32, name: &str, dashes: &[f64]) {
    record(tags, "LTYPE", handle, 2, "AcDbLinetypeTableRecord", name);
    tags.put(3, "");
    tags.put(72, 65);
    tags.put(73, dashes.len());
    tags.real(40, dashes.iter().sum());
    for (i, dash) in dashes.iter().enumerate() {
        tags.real(49, if i % 2 == 0 { *dash } else { -dash });
        tags.put(74, 0);
    }
}

fn layer(tags: &mut Tags, handle: u32, name: &str, line_type: &str, width: f64) {
    record(tags, "LAYER", handle, 3, "AcDbLayerTableRecord", name);
    tags.put(62, 7); // the ground's opposite: black on white
    tags.put(6, line_type);
    tags.put(370, line_weight(width));
    tags.handle(390, PLOT_STYLE);
}

/// The nearest of the widths that the format knows, in hundredths of a millimetre.
fn line_weight(width: f64) -> i32 {
    const KNOWN: [i32; 10] = [5, 9, 13, 15, 18, 20, 25, 30, 35, 40];
    let wanted = (width * 100.0).round() as i32;
    KNOWN.into_iter().min_by_key(|known| (known - wanted).abs()).unwrap_or(wanted)
}

fn blocks(tags: &mut Tags) {
    for (name, owner, first) in [("*Model_Space", MODEL_SPACE, 0x22), ("*Paper_Space", PAPER_SPACE, 0x24)] {
        for (kind, handle, class) in [("BLOCK", first, "AcDbBlockBegin"), ("ENDBLK", first + 1, "AcDbBlockEnd")] {
            tags.put(0, kind);
            tags.handle(5, handle);
            tags.handle(330, owner);
            tags.put(100, "AcDbEntity");
            tags.put(8, "0");
            tags.put(100, class);
            if kind == "BLOCK" {
                tags.put(2, name);
                tags.put(70, 0);
                tags.point(10, kurbo::Point::ORIGIN);
                tags.put(3, name);
                tags.put(1, "");
            }
        }
    }
}

fn objects(tags: &mut Tags) {
    let entries = [("ACAD_GROUP", GROUPS), ("ACAD_LAYOUT", LAYOUTS), ("ACAD_PLOTSTYLENAME", PLOT_STYLES)];
    dictionary(tags, ROOT, 0, &entries);
    dictionary(tags, GROUPS, ROOT, &[]);
    dictionary(tags, LAYOUTS, ROOT, &[("Model", MODEL_LAYOUT), ("Layout1", PAPER_LAYOUT)]);
    layout(tags, MODEL_LAYOUT, "Model", 0, MODEL_SPACE);
    layout(tags, PAPER_LAYOUT, "Layout1", 1, PAPER_SPACE);
    tags.put(0, "ACDBDICTIONARYWDFLT");
    tags.handle(5, PLOT_STYLES);
    tags.handle(330, ROOT);
    tags.put(100, "AcDbDictionary");
    tags.put(281, 1);
    tags.put(3, "Normal");
    tags.handle(350, PLOT_STYLE);
    tags.put(100, "AcDbDictionaryWithDefault");
    tags.handle(340, PLOT_STYLE);
    tags.put(0, "ACDBPLACEHOLDER");
    tags.handle(5, PLOT_STYLE);
    tags.handle(330, PLOT_STYLES);
}

fn dictionary(tags: &mut Tags, handle: u32, owner: u32, entries: &[(&str, u32)]) {
    tags.put(0, "DICTIONARY");
    tags.handle(5, handle);
    tags.handle(330, owner);
    tags.put(100, "AcDbDictionary");
    tags.put(281, 1);
    for (name, entry) in entries {
        tags.put(3, name);
        tags.handle(350, *entry);
    }
}

fn layout(tags: &mut Tags, handle: u32, name: &str, tab: u8, space: u32) {
    tags.put(0, "LAYOUT");
    tags.handle(5, handle);
    tags.handle(330, LAYOUTS);
    tags.put(100, "AcDbPlotSettings");
    tags.put(1, "");
    tags.put(72, 1); // paper units: millimetres
    tags.put(100, "AcDbLayout");
    tags.put(1, name);
    tags.put(70, 1);
    tags.put(71, tab);
    tags.handle(330, space);
}
