//! The objects of a PDF file (ISO 32000-1, 7.3), without compression, streams by their length.

use std::collections::{BTreeMap, BTreeSet};

/// Nested deeper is refused.
const DEEPEST: usize = 32;
/// More numbers, names and brackets than this, contents apart, are refused.
const MOST_TOKENS: usize = 4_000_000;

/// One object.
#[derive(Clone, Debug, PartialEq)]
pub(super) enum Object {
    Null,
    Number(f64),
    Name(String),
    Text(Vec<u8>),
    Array(Vec<Object>),
    Dict(BTreeMap<String, Object>),
    /// A dictionary and the bytes behind it: from, to.
    Stream(BTreeMap<String, Object>, usize, usize),
    Reference(u32),
    /// A word that is none of these: `obj`, or an operator of a content stream.
    Word(String),
}

impl Object {
    pub fn number(&self) -> Option<f64> {
        if let Self::Number(value) = self { Some(*value) } else { None }
    }
}

/// All objects of a file by number.
pub(super) struct Objects<'a> {
    pub bytes: &'a [u8],
    all: BTreeMap<u32, Object>,
    root: Option<u32>,
}

impl<'a> Objects<'a> {
    pub fn parse(bytes: &'a [u8]) -> Result<Self, String> {
        if !bytes.starts_with(b"%PDF-1.") {
            return Err("the file is no PDF".into());
        }
        let mut tokens = Tokens { bytes, next: 0, left: MOST_TOKENS };
        let mut objects = Self { bytes, all: BTreeMap::new(), root: None };
        let mut before: Vec<Object> = Vec::new();
        let mut ended = false;
        while let Some(token) = tokens.object(0)? {
            match &token {
                Object::Word(word) if word == "obj" => {
                    let [.., Object::Number(number), Object::Number(_)] = before[..] else {
                        return Err("an object has no number".into());
                    };
                    let value = tokens.object(0)?.ok_or("the file ends early")?;
                    let value = tokens.stream(value)?;
                    if objects.all.insert(number as u32, value).is_some() {
                        return Err(format!("object {number} is there twice"));
                    }
                    before.clear();
                }
                Object::Word(word) if word == "trailer" => {
                    if let Some(Object::Dict(trailer)) = tokens.object(0)? {
                        if trailer.contains_key("Encrypt") || trailer.contains_key("Prev") {
                            return Err("the file is encrypted or was changed afterwards".into());
                        }
                        if let Some(Object::Reference(root)) = trailer.get("Root") {
                            objects.root = Some(*root);
                        }
                    }
                    ended = true;
                }
                _ => {
                    before.push(token);
                    if before.len() > 2 {
                        before.remove(0);
                    }
                }
            }
        }
        if ended { Ok(objects) } else { Err("the file ends early".into()) }
    }

    pub fn root(&self) -> Result<&Object, String> {
        self.root.and_then(|root| self.all.get(&root)).ok_or("the file has no catalogue".into())
    }

    /// What a reference points to; references to references end in null.
    pub fn resolve<'o>(&'o self, object: &'o Object) -> &'o Object {
        let Object::Reference(number) = object else { return object };
        match self.all.get(number) {
            None | Some(Object::Reference(_)) => &Object::Null,
            Some(found) => found,
        }
    }

    /// An entry of a dictionary.
    pub fn get<'o>(&'o self, object: &'o Object, key: &str) -> Option<&'o Object> {
        match self.resolve(object) {
            Object::Dict(dict) | Object::Stream(dict, ..) => dict.get(key).map(|value| self.resolve(value)),
            _ => None,
        }
    }

    /// Numbers of the layers that are off when the file is opened.
    pub fn hidden(&self, root: &Object) -> BTreeSet<u32> {
        let default = self.get(root, "OCProperties").and_then(|properties| self.get(properties, "D"));
        let Some(Object::Array(off)) = default.and_then(|default| self.get(default, "OFF")) else {
            return BTreeSet::new();
        };
        off.iter().filter_map(|layer| if let Object::Reference(n) = layer { Some(*n) } else { None }).collect()
    }

    /// The entry of a dictionary as a reference's number.
    pub fn reference(&self, object: &Object, key: &str) -> Option<u32> {
        match self.resolve(object) {
            Object::Dict(dict) => match dict.get(key) {
                Some(Object::Reference(number)) => Some(*number),
                _ => None,
            },
            _ => None,
        }
    }
}

/// Bytes taken apart into objects.
pub(super) struct Tokens<'a> {
    pub bytes: &'a [u8],
    pub next: usize,
    /// How many objects may still come.
    pub left: usize,
}

impl Tokens<'_> {
    fn peek(&self) -> Option<u8> {
        self.bytes.get(self.next).copied()
    }

    fn skip(&mut self) {
        while let Some(byte) = self.peek() {
            match byte {
                b'%' => {
                    while self.peek().is_some_and(|b| b != b'\n' && b != b'\r') {
                        self.next += 1;
                    }
                }
                0 | 9 | 10 | 12 | 13 | 32 => self.next += 1,
                _ => break,
            }
        }
    }

    /// The next object or word; `None` at the end.
    pub fn object(&mut self, depth: usize) -> Result<Option<Object>, String> {
        if depth > DEEPEST {
            return Err("the file is nested too deep".into());
        }
        self.skip();
        let Some(byte) = self.peek() else { return Ok(None) };
        self.left = self.left.checked_sub(1).ok_or("the file has more objects than a drawing needs")?;
        let object = match byte {
            b'/' => {
                self.next += 1;
                Object::Name(self.word())
            }
            b'(' => Object::Text(self.text()?),
            b'<' if self.bytes.get(self.next + 1) == Some(&b'<') => self.dict(depth)?,
            b'<' => {
                while self.peek().is_some_and(|b| b != b'>') {
                    self.next += 1;
                }
                self.next += 1;
                Object::Text(Vec::new())
            }
            b'[' => {
                self.next += 1;
                Object::Array(self.until("]", depth)?)
            }
            b']' => {
                self.next += 1;
                Object::Word("]".into())
            }
            b'>' => {
                self.next += 2;
                Object::Word(">>".into())
            }
            b'0'..=b'9' | b'-' | b'+' | b'.' => {
                let word = self.word();
                Object::Number(word.parse().map_err(|_| format!("{word:?} is no number"))?)
            }
            _ => {
                let word = self.word();
                if word.is_empty() {
                    return Err(format!("byte {} makes no sense", self.next + 1));
                }
                Object::Word(word)
            }
        };
        Ok(Some(object))
    }

    fn word(&mut self) -> String {
        let start = self.next;
        while self.peek().is_some_and(|b| b > 32 && !b"()<>[]{}/%".contains(&b)) {
            self.next += 1;
        }
        String::from_utf8_lossy(&self.bytes[start..self.next]).into_owned()
    }

    /// Text in brackets, escapes kept as they are: only plain labels are looked at.
    fn text(&mut self) -> Result<Vec<u8>, String> {
        let start = self.next + 1;
        let mut open = 0_usize;
        while let Some(byte) = self.peek() {
            self.next += 1;
            match byte {
                b'\\' => self.next += 1,
                b'(' => open += 1,
                b')' => {
                    open -= 1;
                    if open == 0 {
                        return Ok(self.bytes[start..self.next - 1].to_vec());
                    }
                }
                _ => {}
            }
        }
        Err("a text does not end".into())
    }

    /// Objects up to a closing word, references put together from their three parts.
    fn until(&mut self, end: &str, depth: usize) -> Result<Vec<Object>, String> {
        let mut objects: Vec<Object> = Vec::new();
        loop {
            let object = self.object(depth + 1)?.ok_or("the file ends early")?;
            match &object {
                Object::Word(word) if word == end => return Ok(objects),
                Object::Word(word) if word == "R" => {
                    let [.., Object::Number(number), Object::Number(_)] = objects[..] else {
                        return Err("a reference has no number".into());
                    };
                    objects.truncate(objects.len() - 2);
                    objects.push(Object::Reference(number as u32));
                }
                _ => objects.push(object),
            }
        }
    }

    fn dict(&mut self, depth: usize) -> Result<Object, String> {
        self.next += 2;
        let mut dict = BTreeMap::new();
        let mut objects = self.until(">>", depth)?.into_iter();
        while let (Some(Object::Name(key)), Some(value)) = (objects.next(), objects.next()) {
            dict.insert(key, value);
        }
        Ok(Object::Dict(dict))
    }

    /// A dictionary's stream, where one follows.
    fn stream(&mut self, value: Object) -> Result<Object, String> {
        let Object::Dict(dict) = value else { return Ok(value) };
        self.skip();
        if !self.bytes[self.next.min(self.bytes.len())..].starts_with(b"stream") {
            return Ok(Object::Dict(dict));
        }
        if dict.contains_key("Filter") || dict.contains_key("DecodeParms") {
            return Err("a part of the file is compressed".into());
        }
        self.next += 6;
        if self.peek() == Some(b'\r') {
            self.next += 1;
        }
        let from = self.next + 1;
        let length = dict.get("Length").and_then(Object::number).filter(|n| (0.0..1e9).contains(n));
        let to = from + length.ok_or("a stream has no length")? as usize;
        if to > self.bytes.len() {
            return Err("a stream ends early".into());
        }
        self.next = to;
        Ok(Object::Stream(dict, from, to))
    }
}
