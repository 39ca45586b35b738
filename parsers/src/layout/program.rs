//! A compiled layout: what [`super::run`] carries out.

use super::number::NumberForm;
use super::quantity::{Component, Quantity};
use crate::checksum::{Algorithm, Written};
use crate::reading::{Base, Eye, Mode, ReferenceLine, Vertex};
use std::ops::Range;

/// A compiled layout.
#[derive(Debug)]
pub(super) struct Program {
    pub start: Vec<u8>,
    /// What ends a frame, longest first; none where length or silence does.
    pub ends: Vec<Vec<u8>>,
    pub length: Option<usize>,
    pub check: Option<Check>,
    /// What ends a line within the frame, longest first.
    pub line_ends: Vec<Vec<u8>>,
    pub skip_blank: bool,
    pub in_order: bool,
    /// Every line stands exactly once, in order: told apart by position, not by their starts.
    pub by_position: bool,
    pub lines: Vec<Line>,
    pub always: Always,
}

/// Where the checksum stands and what it covers.
#[derive(Debug)]
pub(super) struct Check {
    pub algorithm: Algorithm,
    pub written: Written,
    pub before: Vec<u8>,
    pub after: Vec<u8>,
    /// It stands behind the frame's end bytes.
    pub after_end: bool,
    pub covers_start: bool,
    pub covers_before: bool,
}

/// What holds for every frame although no frame says it.
#[derive(Debug, Default, Clone, Copy)]
pub(super) struct Always {
    pub eye: Option<Eye>,
    pub mode: Option<Mode>,
    pub vertex: Option<Vertex>,
    pub reference_line: Option<ReferenceLine>,
}

/// One kind of line.
#[derive(Debug)]
pub(super) struct Line {
    pub name: String,
    pub starts: Vec<u8>,
    pub ends: Vec<u8>,
    pub needed: bool,
    pub repeats: bool,
    pub eye: Option<Eye>,
    pub mode: Option<Mode>,
    pub vertex: Option<Vertex>,
    /// It has an eye mark among its fields.
    pub marks_eye: bool,
    /// It says something about a lens; a line that does not announces eye, mode and vertex for
    /// the lines that follow.
    pub about_lens: bool,
    /// The eyes that its fields name for themselves.
    pub own_eyes: Vec<Eye>,
    pub form: Form,
}

/// How the fields of a line are told apart.
#[derive(Debug)]
pub(super) enum Form {
    Tagged { separator: Separator, assign: Vec<u8>, unknown: Unknown, fields: Vec<Tagged> },
    Delimited { separator: Separator, fields: Vec<Placed> },
    Columns { fields: Vec<Columned> },
}

#[derive(Debug)]
pub(super) struct Separator {
    pub bytes: Vec<u8>,
    /// Several in a row count as one.
    pub repeats: bool,
}

/// What becomes of a tag that no field has.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Unknown {
    Refuse,
    Keep,
    Skip,
}

#[derive(Debug)]
pub(super) struct Tagged {
    pub tag: Vec<u8>,
    pub optional: bool,
    pub field: Field,
}

#[derive(Debug)]
pub(super) struct Placed {
    pub optional: bool,
    pub field: Field,
}

#[derive(Debug)]
pub(super) struct Columned {
    /// Offsets in the line, counted from 0.
    pub columns: Range<usize>,
    pub optional: bool,
    pub field: Field,
}

/// One value.
#[derive(Debug)]
pub(super) struct Field {
    /// What it is called in messages.
    pub label: String,
    pub eye: Option<Eye>,
    pub read: Read,
}

/// What is done with a field's bytes.
#[derive(Debug)]
pub(super) enum Read {
    Number {
        quantity: Quantity,
        form: NumberForm,
    },
    /// The amount of a part of a prism.
    Prism {
        component: Component,
        form: NumberForm,
        base: AmountBase,
    },
    Code(Code),
    Text {
        what: TextKind,
        missing: Vec<Vec<u8>>,
    },
    Ignore,
    Literal(Vec<u8>),
}

/// Where the base of a prism's amount is said.
#[derive(Debug)]
pub(super) enum AmountBase {
    /// In a field of its own.
    Elsewhere,
    /// By the sign: the base of a positive amount, and of a negative one.
    Signed(Base, Base),
    /// By letters in the same field.
    Letters { after: bool, codes: Vec<(Vec<u8>, Base)> },
}

/// Codes for something that is no number.
#[derive(Debug)]
pub(super) struct Code {
    pub means: Meaning,
    pub missing: Vec<Vec<u8>>,
}

#[derive(Debug)]
pub(super) enum Meaning {
    Eye(Vec<(Vec<u8>, Eye)>),
    Mode(Vec<(Vec<u8>, Mode)>),
    Vertex(Vec<(Vec<u8>, Vertex)>),
    ReferenceLine(Vec<(Vec<u8>, ReferenceLine)>),
    Base(Component, Vec<(Vec<u8>, Base)>),
}

#[derive(Debug)]
pub(super) enum TextKind {
    Job,
    Operator,
    Serial,
    Time,
    /// Several codes may stand in one field, with these bytes between them.
    Fault {
        split: Option<Vec<u8>>,
    },
    Keep(String),
}
