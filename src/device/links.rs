//! Where a profile's jobs may be sent.

use super::read::{choice, no_children, whole};
use super::{Flow, Link};
use crate::diag::Result;
use crate::source::Node;

#[derive(Clone, Copy)]
enum Kind {
    Serial,
    Tcp,
    Queue,
    Folder,
}

/// Reads one `link`.
pub(super) fn read(node: Node<'_>) -> Result<Link> {
    node.only_takes(1, &["port", "baud", "flow", "host", "name", "path"])?;
    no_children(node)?;
    let kinds = [("serial", Kind::Serial), ("tcp", Kind::Tcp), ("queue", Kind::Queue), ("folder", Kind::Folder)];
    let Some(kind) = node.args().next() else {
        return Err(node.error("expected a kind of link here").hint("serial, tcp, queue or folder, in quotes").into());
    };
    let kind = choice(kind, "kind of link", &kinds)?;
    let takes: &[&str] = match kind {
        Kind::Serial => &["port", "baud", "flow"],
        Kind::Tcp => &["host", "port"],
        Kind::Queue => &["name"],
        Kind::Folder => &["path"],
    };
    node.only_takes(1, takes)?;
    let needs = |key: &str| {
        node.prop(key).ok_or_else(|| Box::new(node.error(format!("this link needs {key}=")).hint("give it here")))
    };
    let text = |key: &str| {
        let value = needs(key)?;
        let text = value.string()?.trim();
        if text.is_empty() || text.chars().any(char::is_control) {
            return Err(Box::new(value.error(format!("this {key} is empty or has characters that no {key} has"))));
        }
        Ok(text.to_owned())
    };
    Ok(match kind {
        Kind::Serial => Link::Serial {
            port: text("port")?,
            baud: node.prop("baud").map_or(Ok(9600), |value| whole(value, 300..=4_000_000))?,
            flow: node.prop("flow").map_or(Ok(Flow::RtsCts), |value| {
                choice(value, "flow control", &[("rts-cts", Flow::RtsCts), ("xon-xoff", Flow::XonXoff)])
            })?,
        },
        // 9100 is the usual port of raw printing (IANA: pdl-datastream).
        Kind::Tcp => Link::Tcp {
            host: text("host")?,
            port: node.prop("port").map_or(Ok(9100), |value| whole(value, 1..=65_535))? as u16,
        },
        Kind::Queue => Link::Queue { name: text("name")? },
        Kind::Folder => Link::Folder { path: text("path")? },
    })
}
