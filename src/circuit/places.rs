//! Where each value stands in a file's text.
//!
//! The parser of the file's notation hands out values without their places, and
//! a finding needs a place. This is a second, lenient look at the same text that
//! keeps nothing but brackets, keys and where things begin. It follows the order
//! of the text, so the third field of a part here is the third field there. It
//! judges nothing: the parser has already accepted what it walks over.

use crate::diagnostic::Place;

/// The place of one value, and of what it holds.
#[derive(Debug, Default)]
pub(crate) struct Node {
    /// Where the value begins; for `Name(...)` where the name begins.
    pub(super) place: Place,
    /// The bracket that opens it; none for a plain value.
    pub(super) bracket: Option<char>,
    /// The name before the bracket; empty where there is none.
    pub(super) name: Box<str>,
    children: Vec<Child>,
}

#[derive(Debug)]
struct Child {
    key: Option<Word>,
    node: Node,
}

#[derive(Debug)]
struct Word {
    text: String,
    place: Place,
}

impl Node {
    /// Where the value begins.
    pub(crate) fn place(&self) -> Place {
        self.place
    }

    /// A value at this place that holds nothing.
    pub(crate) fn at(place: Place) -> Self {
        Self { place, ..Self::default() }
    }

    /// The value at `index`, or this one where the text holds no such value.
    pub(crate) fn child(&self, index: usize) -> &Node {
        self.children.get(index).map_or(self, |child| &child.node)
    }

    /// Where the key of the value at `index` begins; the value's own place where
    /// it has none.
    pub(crate) fn key_place(&self, index: usize) -> Place {
        self.children.get(index).map_or(self.place, |child| {
            child.key.as_ref().map_or(child.node.place, |key| key.place)
        })
    }

    /// The value under this bare key, or this one where there is none.
    pub(crate) fn field(&self, key: &str) -> &Node {
        self.children
            .iter()
            .find(|child| child.key.as_ref().is_some_and(|word| word.text == key))
            .map_or(self, |child| &child.node)
    }
}

impl Node {
    /// The values in it, each with the place of its key, or its own where it has none.
    pub(super) fn into_fields(self) -> Vec<(Place, Node)> {
        let place = |child: &Child| child.key.as_ref().map_or(child.node.place, |key| key.place);
        self.children.into_iter().map(|child| (place(&child), child.node)).collect()
    }

    /// Adds a value under a key.
    pub(super) fn push_field(&mut self, key: &str, place: Place, node: Node) {
        self.children.push(Child { key: Some(Word { text: key.to_owned(), place }), node });
    }

    /// Adds what another value holds to the one at `index`.
    pub(super) fn append(&mut self, index: usize, mut node: Node) {
        if let Some(child) = self.children.get_mut(index) {
            child.node.children.append(&mut node.children);
        }
    }
}

/// Brackets deeper than this are not followed; the parser stops far earlier.
const DEPTH_LIMIT: usize = 256;

/// Walks over the text and returns the node of its outermost value.
pub(crate) fn scan(text: &str) -> Node {
    scan_from(text, 1)
}

/// The same for a text that begins with this line, after other texts.
pub(super) fn scan_from(text: &str, first_line: usize) -> Node {
    let mut stack = walk(text, first_line, None);
    while stack.len() > 1 {
        close(&mut stack);
    }
    let mut bottom = stack.pop().unwrap_or_default();
    bottom.finish_value();
    let mut children = bottom.children;
    children.pop().map(|child| child.node).unwrap_or_default()
}

/// A bracket that is open at some place, and what has been read in it last.
pub(super) struct Open {
    /// The bracket; none for the file itself.
    pub(super) bracket: Option<char>,
    /// The name before it, which may be empty.
    pub(super) name: Box<str>,
    /// Where it begins, its name included.
    pub(super) place: Place,
    /// The key whose value is being read.
    pub(super) key: Option<String>,
    /// The value, or perhaps the key, that has been read and not yet ended.
    pub(super) last: Option<String>,
}

/// The brackets open at a place, outermost first; the file itself comes first of all.
pub(super) fn open_at(text: &str, place: Place) -> Vec<Open> {
    let open = |frame: Frame| Open {
        bracket: frame.bracket,
        name: frame.name,
        place: frame.place,
        key: frame.key.map(|word| word.text),
        last: frame.value.map(|value| value.text),
    };
    walk(text, 1, Some(place)).into_iter().map(open).collect()
}

/// The text from a place on.
pub(super) fn rest_at(text: &str, place: Place) -> &str {
    let mut cursor = Cursor::new(text);
    while cursor.place < place && cursor.next().is_some() {}
    cursor.rest
}

/// Walks over the text, or to a place in it, and returns what is then open.
fn walk(text: &str, first_line: usize, until: Option<Place>) -> Vec<Frame> {
    let mut cursor = Cursor::new(text);
    cursor.place.line = first_line;
    // The frame at the bottom stands for the whole file.
    let mut stack = vec![Frame::at(cursor.place)];
    while let Some(c) = cursor.peek() {
        let place = cursor.place;
        if until.is_some_and(|until| place >= until) {
            break;
        }
        match c {
            '(' | '[' | '{' => {
                cursor.next();
                if stack.len() == DEPTH_LIMIT {
                    break;
                }
                // `Fuse(` begins at its name.
                let name = stack.last_mut().and_then(|frame| frame.value.take());
                let (place, name) =
                    name.map_or((place, String::new()), |value| (value.node.place, value.text));
                let (bracket, name) = (Some(c), name.into_boxed_str());
                stack.push(Frame { place, bracket, name, ..Frame::default() });
            }
            ')' | ']' | '}' => {
                cursor.next();
                close(&mut stack);
            }
            ',' => {
                cursor.next();
                if let Some(frame) = stack.last_mut() {
                    frame.finish_value();
                }
            }
            ':' => {
                cursor.next();
                if let Some(frame) = stack.last_mut() {
                    frame.key = frame
                        .value
                        .take()
                        .map(|value| Word { text: value.text, place: value.node.place });
                }
            }
            '"' => {
                cursor.skip_string();
                set_value(&mut stack, place, String::new());
            }
            '\'' => {
                cursor.skip_character();
                set_value(&mut stack, place, String::new());
            }
            '/' => cursor.skip_comment(),
            '#' => cursor.skip_attribute(),
            _ if is_space(c) => {
                cursor.next();
            }
            _ => {
                let word = cursor.word();
                if matches!(word, "r" | "br") && matches!(cursor.peek(), Some('"' | '#')) {
                    cursor.skip_raw();
                }
                set_value(&mut stack, place, word.to_owned());
            }
        }
    }
    stack
}

/// Whether a text holds nothing but space and comments.
pub(super) fn is_blank(text: &str) -> bool {
    let mut cursor = Cursor::new(text);
    loop {
        match cursor.peek() {
            None => return true,
            Some('/') if cursor.rest.starts_with("//") || cursor.rest.starts_with("/*") => {
                cursor.skip_comment();
            }
            Some(c) if is_space(c) => {
                cursor.next();
            }
            Some(_) => return false,
        }
    }
}

/// A bracket that is open.
#[derive(Default)]
struct Frame {
    place: Place,
    bracket: Option<char>,
    name: Box<str>,
    children: Vec<Child>,
    key: Option<Word>,
    value: Option<Value>,
}

/// A value read and not yet put away; its text matters if it proves to be a key.
struct Value {
    text: String,
    node: Node,
}

impl Frame {
    fn at(place: Place) -> Self {
        Self { place, ..Self::default() }
    }

    fn finish_value(&mut self) {
        let key = self.key.take();
        if let Some(value) = self.value.take() {
            self.children.push(Child { key, node: value.node });
        }
    }
}

fn set_value(stack: &mut [Frame], place: Place, text: String) {
    if let Some(frame) = stack.last_mut() {
        frame.value = Some(Value { text, node: Node::at(place) });
    }
}

/// Turns the innermost bracket into a value of the bracket around it; a closing
/// bracket too many is passed over.
fn close(stack: &mut Vec<Frame>) {
    if stack.len() < 2 {
        return;
    }
    if let Some(mut frame) = stack.pop() {
        frame.finish_value();
        if let Some(outer) = stack.last_mut() {
            outer.value = Some(Value {
                text: String::new(),
                node: Node {
                    place: frame.place,
                    bracket: frame.bracket,
                    name: frame.name,
                    children: frame.children,
                },
            });
        }
    }
}

/// What the notation counts as space: the usual, and the two marks of direction.
fn is_space(c: char) -> bool {
    c.is_whitespace() || matches!(c, '\u{200E}' | '\u{200F}')
}

/// The rest of the text and the place where it begins.
struct Cursor<'t> {
    rest: &'t str,
    place: Place,
}

impl<'t> Cursor<'t> {
    fn new(text: &'t str) -> Self {
        Self { rest: text, place: Place { line: 1, column: 1 } }
    }

    fn peek(&self) -> Option<char> {
        self.rest.chars().next()
    }

    fn next(&mut self) -> Option<char> {
        let c = self.peek()?;
        self.rest = &self.rest[c.len_utf8()..];
        if c == '\n' {
            self.place.line += 1;
            self.place.column = 1;
        } else {
            self.place.column += 1;
        }
        Some(c)
    }

    /// Moves past the next occurrence of `end`, or to the end of the text.
    fn skip_past(&mut self, end: &str) {
        let stop = self.rest.find(end).map_or(self.rest.len(), |at| at + end.len());
        let target = self.rest.len() - stop;
        while self.rest.len() > target {
            self.next();
        }
    }

    fn word(&mut self) -> &'t str {
        let start = self.rest;
        while let Some(c) = self.peek() {
            if is_space(c) || "()[]{},:\"'/#".contains(c) {
                break;
            }
            self.next();
        }
        &start[..start.len() - self.rest.len()]
    }

    fn skip_string(&mut self) {
        self.next();
        while let Some(c) = self.next() {
            match c {
                '"' => return,
                '\\' => {
                    self.next();
                }
                _ => {}
            }
        }
    }

    fn skip_character(&mut self) {
        self.next();
        // The quote itself can be the character: `'''` is not legal but `'\''` is.
        if self.next() == Some('\\') {
            self.next();
        }
        self.skip_past("'");
    }

    /// What follows the `r` of `r"..."`, `r##"..."##` or the raw name `r#name`.
    fn skip_raw(&mut self) {
        let mut end = String::from("\"");
        while self.peek() == Some('#') {
            self.next();
            end.push('#');
        }
        if self.peek() == Some('"') {
            self.next();
            self.skip_past(&end);
        } else {
            self.word();
        }
    }

    fn skip_comment(&mut self) {
        self.next();
        match self.peek() {
            Some('/') => self.skip_past("\n"),
            Some('*') => {
                self.next();
                let mut depth = 1_usize;
                while depth > 0 && !self.rest.is_empty() {
                    if self.rest.starts_with("/*") {
                        self.next();
                        depth += 1;
                    } else if self.rest.starts_with("*/") {
                        self.next();
                        depth -= 1;
                    }
                    self.next();
                }
            }
            _ => {}
        }
    }

    /// `#![enable(...)]` at the head of the file.
    fn skip_attribute(&mut self) {
        self.skip_past("]");
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(line: usize, column: usize) -> Place {
        Place { line, column }
    }

    #[test]
    fn values_and_keys_are_found_where_they_stand() {
        let text =
            "System(\n  parts: [\n    Fuse(id: \"F1\", amps: -5.0),\n    Wire(a: \"x\"),\n  ],\n)";
        let root = scan(text);
        assert_eq!(root.place, at(1, 1));
        let parts = root.field("parts");
        assert_eq!(parts.place, at(2, 10));
        assert_eq!(parts.child(0).place, at(3, 5));
        assert_eq!(parts.child(0).child(1).place, at(3, 26));
        assert_eq!(parts.child(0).key_place(1), at(3, 20));
        assert_eq!(parts.child(1).child(0).place, at(4, 13));
    }

    #[test]
    fn strings_comments_and_characters_hide_their_brackets() {
        let text = r##"#![enable(implicit_some)]
// a ( line
/* outer /* inner ) */ ] */
(a: "q\"(", b: r#"raw " ( "#, c: '(', d: '\'', e: {"k(": [1, 2]}, r#f: 7)"##;
        let root = scan(text);
        assert_eq!(root.place, at(4, 1));
        assert_eq!(root.field("b").place, at(4, 16));
        assert_eq!(root.field("d").place, at(4, 42));
        assert_eq!(root.field("e").key_place(0), at(4, 52));
        assert_eq!(root.field("e").child(0).child(1).place, at(4, 62));
        assert_eq!(root.child(5).place, at(4, 72));
    }

    #[test]
    fn columns_count_characters() {
        let root = scan("(a: \"éé\u{1F600}\", b: 1)");
        assert_eq!(root.field("b").place, at(1, 15));
    }

    #[test]
    fn what_is_not_there_has_the_place_of_what_should_hold_it() {
        let root = scan("(a: [1])");
        assert_eq!(root.field("a").child(9).place, at(1, 5));
        assert_eq!(root.field("zz").place, at(1, 1));
    }

    #[test]
    fn no_text_is_too_odd_to_walk_over() {
        for text in [
            "", ")", "(((", "]]]", "\"", "'", "'\\", "r#", "r#\"", "/", "/*", "/*/", "#", ":", ",",
            "::,,", "\u{FEFF}", "b\"", "(a:)", "(:1)",
        ] {
            scan(text);
        }
        scan(&"(".repeat(1_000_000));
        scan(&"[{".repeat(1_000_000));
    }
}
