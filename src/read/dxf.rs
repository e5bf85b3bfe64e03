//! DXF text files read into bare paths, through the `dxf` crate.
//!
//! The crate is only shown the sections that draw, checked and in plain ASCII (`tags`), and runs under a guard, since
//! its reader can panic.

mod exchange;
mod guard;
mod outline;
mod tags;

pub use exchange::exchange_dxf;

use super::{DEEPEST, Drawing, Gathered, NamedDrawing, beginning, check_size};
use crate::diag::{Finding, Result};
use dxf::entities::{Entity, EntityType, Insert};
use kurbo::{Affine, Point, Vec2};
use std::collections::{BTreeSet, HashMap};

/// More entities than this are not visited, block references counted each time.
const MOST_ENTITIES: usize = 1_000_000;
/// A drawing whose unit is not sure may yet be made larger by so much; its arcs are followed as closely as it then needs.
const LARGEST_UNIT: f64 = crate::units::INCH;
/// Of a text no more is kept, bytes.
const LONGEST_TEXT: usize = 1000;

/// What a DXF file's model space draws, in millimetres, y up, origin as it is in the file.
///
/// Read are lines, arcs, circles, ellipses, polylines with their bulges, splines of degree 1 to 3 without weights, and
/// block references. Other entities are left out with a warning. Units are those of `$INSUNITS`.
///
/// # Errors
/// Not a DXF text file, or one that ends early; numbers that can't be read, with their line; more or deeper than any
/// drawing needs.
pub fn dxf(bytes: &[u8], file: &str) -> Result<(Drawing, Vec<Finding>)> {
    read(bytes, file, false).map(|(named, findings)| (named.drawing, findings))
}

/// [`dxf()`], with what its paths are called, its writing and its single points.
///
/// # Errors
/// As [`dxf()`].
pub fn named_dxf(bytes: &[u8], file: &str) -> Result<(NamedDrawing, Vec<Finding>)> {
    read(bytes, file, true)
}

fn read(bytes: &[u8], file: &str, naming: bool) -> Result<(NamedDrawing, Vec<Finding>)> {
    check_size(bytes, file)?;
    let tags = tags::scan(bytes, file, naming)?;
    let mut findings = tags.findings;
    let loaded = guard::quiet(|| dxf::Drawing::load(&mut tags.drawing.as_bytes()));
    let Some(Ok(loaded)) = loaded else {
        let why = loaded.and_then(std::result::Result::err).map_or("its tags make no sense".into(), |e| e.to_string());
        return Err(super::refused(
            file,
            &format!("the file is not a DXF that can be read: {why}"),
            "save it again from the program that drew it, as DXF 2000 text",
        ));
    };
    let read: usize = loaded.entities().count() + loaded.blocks().map(|block| block.entities.len()).sum::<usize>();
    if read != tags.entities {
        let message = format!("only {read} of {} entities can be read", tags.entities);
        return Err(super::refused(file, &message, "save it again from the program that drew it"));
    }

    let mut reader = Reader {
        gathered: Gathered::new(file),
        blocks: HashMap::new(),
        hidden: tags.hidden,
        visited: 0,
        inside: Vec::new(),
        placed: 0,
        finer: if tags.sure { 1.0 } else { LARGEST_UNIT },
    };
    reader.gathered.naming = naming;
    for block in loaded.blocks() {
        let base = Vec2::new(block.base_point.x, block.base_point.y);
        let entities = block.entities.iter().collect();
        reader.blocks.insert(block.name.to_ascii_uppercase(), Block { base, entities });
    }
    for (kind, times) in &tags.left_out {
        reader.gathered.leave_out_times(kind, *times);
    }
    let scale = Affine::scale(tags.millimetres);
    for entity in loaded.entities() {
        reader.entity(entity, scale, None, 0)?;
    }
    findings.extend(reader.gathered.warnings());
    let Gathered { paths, names, notes, .. } = reader.gathered;
    let drawing = Drawing { width: None, height: None, paths };
    let guessed = (tags.to_scale && !tags.sure).then_some(tags.millimetres);
    Ok((NamedDrawing { drawing, names, notes, to_scale: tags.to_scale, guessed }, findings))
}

struct Reader<'a> {
    gathered: Gathered<'a>,
    blocks: HashMap<String, Block<'a>>,
    /// Layers that are not shown, in capitals.
    hidden: BTreeSet<String>,
    visited: usize,
    /// Names of the blocks about the present entity, from the outside inward.
    inside: Vec<&'a str>,
    /// How many blocks were placed in the drawing itself.
    placed: usize,
    /// How much finer arcs are followed.
    finer: f64,
}

struct Block<'a> {
    base: Vec2,
    entities: Vec<&'a Entity>,
}

impl<'a> Reader<'a> {
    /// `layer` is the layer of the block reference, which layer 0 inside a block stands for.
    fn entity(&mut self, entity: &'a Entity, to_page: Affine, layer: Option<&'a str>, depth: usize) -> Result<()> {
        self.visited += 1;
        if self.visited > MOST_ENTITIES || depth > DEEPEST {
            let message = format!("blocks nest deeper than {DEEPEST} or repeat themselves without end");
            return Err(self.gathered.refused(&message, "take the blocks apart in the program that drew them"));
        }
        if entity.common.is_in_paper_space || !entity.common.is_visible {
            return Ok(());
        }
        let own = entity.common.layer.as_str();
        let layer = layer.filter(|_| own == "0").unwrap_or(own);
        if self.hidden.contains(&layer.to_uppercase()) {
            self.gathered.leave_out("lines on hidden layers");
            return Ok(());
        }
        if let EntityType::Insert(insert) = &entity.specific {
            return self.insert(insert, to_page, layer, depth);
        }
        if self.gathered.naming {
            let around = std::iter::once(layer).chain(self.inside.iter().rev().copied());
            let block = if self.inside.is_empty() { 0 } else { self.placed };
            self.gathered.call("", around, block)?;
            let note = match &entity.specific {
                EntityType::Text(text) => Some((&text.location, text.value.as_str())),
                EntityType::MText(text) => Some((&text.insertion_point, text.text.as_str())),
                EntityType::ModelPoint(point) => Some((&point.location, "")),
                _ => None,
            };
            if let Some((at, text)) = note {
                return self.gathered.note(to_page * Point::new(at.x, at.y), beginning(text, LONGEST_TEXT));
            }
        }
        match outline::outline(&entity.specific, self.finer * outline::stretch(to_page)) {
            Ok(path) => self.gathered.add(layer, &(to_page * path)),
            Err(what) => {
                self.gathered.leave_out(what);
                Ok(())
            }
        }
    }

    fn insert(&mut self, insert: &'a Insert, to_page: Affine, layer: &'a str, depth: usize) -> Result<()> {
        let Some(block) = self.blocks.get(&insert.name.to_ascii_uppercase()) else {
            self.gathered.leave_out("block references without a block");
            return Ok(());
        };
        let Some(plane) = outline::plane(&insert.extrusion_direction) else {
            self.gathered.leave_out("block references outside the drawing plane");
            return Ok(());
        };
        let (base, entities) = (block.base, block.entities.clone());
        self.inside.push(insert.name.as_str());
        let turn = Affine::rotate(insert.rotation.to_radians());
        let scale = Affine::scale_non_uniform(insert.x_scale_factor, insert.y_scale_factor);
        for row in 0..insert.row_count.max(1) {
            for column in 0..insert.column_count.max(1) {
                let step = Vec2::new(f64::from(column) * insert.column_spacing, f64::from(row) * insert.row_spacing);
                let place = Affine::translate((insert.location.x, insert.location.y))
                    * turn
                    * Affine::translate(step)
                    * scale
                    * Affine::translate(-base);
                self.placed += usize::from(depth == 0);
                for entity in &entities {
                    self.entity(entity, to_page * plane * place, Some(layer), depth + 1)?;
                }
                self.visited += 1;
                if self.visited > MOST_ENTITIES {
                    return Err(self.gathered.refused("blocks repeat themselves without end", "take them apart"));
                }
            }
        }
        self.inside.pop();
        Ok(())
    }
}
