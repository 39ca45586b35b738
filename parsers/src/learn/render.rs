//! Writes a proposal as the text of a layout.

use super::envelope::{Check, Ending, Envelope, IDLE_MS};
use super::field::{BaseBy, Codes, Is};
use super::lines::Plan;
use super::number::Form;
use super::solve::{Field, Solved};
use super::table::Cut;
use crate::checksum::{Algorithm, Written};
use crate::layout::Quantity;
use crate::notation::to_text;
use crate::reading::{Base, Eye, Mode};
use std::fmt::Write;

/// What a proposal is made of.
pub(super) struct Parts<'p, 'a> {
    pub name: &'p str,
    pub title: &'p str,
    /// Comment lines for the head of the file.
    pub remarks: &'p [String],
    pub envelope: &'p Envelope,
    pub plan: &'p Plan<'a>,
    pub lines: &'p [Solved<'a>],
    pub always_mode: Option<Mode>,
}

/// A text in quotes, as TOML has it. The notation is printable ASCII.
fn quoted(bytes: &[u8]) -> String {
    in_quotes(&to_text(bytes))
}

fn in_quotes(text: &str) -> String {
    format!("\"{}\"", text.replace('\\', "\\\\").replace('"', "\\\""))
}

/// The keys of one table, aligned.
#[derive(Default)]
struct Keys(Vec<(String, String)>);

impl Keys {
    fn put(&mut self, key: &str, value: impl Into<String>) {
        self.0.push((key.to_owned(), value.into()));
    }

    fn bytes(&mut self, key: &str, bytes: &[u8]) {
        if !bytes.is_empty() {
            self.put(key, quoted(bytes));
        }
    }

    fn list(&mut self, key: &str, list: &[Vec<u8>]) {
        if !list.is_empty() {
            let list: Vec<String> = list.iter().map(|bytes| quoted(bytes)).collect();
            self.put(key, format!("[{}]", list.join(", ")));
        }
    }

    fn codes<T: Copy>(&mut self, key: &str, codes: &Codes<T>, name: impl Fn(T) -> &'static str) {
        let codes: Vec<String> = codes
            .iter()
            .map(|(code, meaning)| format!("{} = \"{}\"", quoted(code), name(*meaning)))
            .collect();
        self.put(key, format!("{{ {} }}", codes.join(", ")));
    }

    fn write(self, head: &str, out: &mut String) {
        if self.0.is_empty() {
            return;
        }
        let width = self.0.iter().map(|(key, _)| key.len()).max().unwrap_or(0);
        if !head.is_empty() {
            let _ = writeln!(out, "\n{head}");
        }
        for (key, value) in self.0 {
            let _ = writeln!(out, "{key:<width$} = {value}");
        }
    }
}

/// The whole layout.
pub(super) fn render(parts: &Parts<'_, '_>) -> String {
    let mut out = String::new();
    for remark in parts.remarks {
        let _ = writeln!(out, "# {remark}");
    }
    if !parts.remarks.is_empty() {
        out.push('\n');
    }
    let mut keys = Keys::default();
    keys.put("name", in_quotes(parts.name));
    keys.put("title", in_quotes(parts.title));
    keys.write("", &mut out);
    frame(parts.envelope, &mut out);
    if let Some(check) = &parts.envelope.check {
        checksum(check, &mut out);
    }
    let mut keys = Keys::default();
    if let Some(mode) = parts.always_mode {
        keys.put("mode", in_quotes(mode_name(mode)));
    }
    keys.write("[always]", &mut out);
    let mut keys = Keys::default();
    keys.bytes("end", &parts.plan.line_end);
    if parts.plan.any_order {
        keys.put("order", "\"any\"");
    }
    if parts.plan.blank_lines {
        keys.put("blank", "\"skip\"");
    }
    keys.write("[lines]", &mut out);
    let strict = parts.envelope.end == Ending::Silence;
    for line in parts.lines {
        self::line(line, strict, &mut out);
    }
    out
}

fn frame(envelope: &Envelope, out: &mut String) {
    let mut keys = Keys::default();
    keys.bytes("start", &envelope.start);
    match &envelope.end {
        Ending::Bytes(end) => keys.bytes("end", end),
        Ending::Length(length) => keys.put("length", length.to_string()),
        Ending::Silence => keys.put("idle_ms", IDLE_MS.to_string()),
    }
    keys.write("[frame]", out);
}

/// The name of a checksum as layouts have it.
pub(super) fn checksum_name(check: &Check) -> &'static str {
    match check.algorithm {
        Algorithm::Xor8 => "xor-8",
        Algorithm::Sum8 => "sum-8",
        Algorithm::Crc16CcittFalse => "crc-16-ccitt-false",
        Algorithm::Crc16Xmodem => "crc-16-xmodem",
    }
}

fn checksum(check: &Check, out: &mut String) {
    let mut keys = Keys::default();
    keys.put("kind", in_quotes(checksum_name(check)));
    let written = match check.written {
        Written::Hex => "hex",
        Written::Raw => "raw",
        Written::RawLowFirst => "raw-low-first",
    };
    keys.put("written", in_quotes(written));
    if check.after_end {
        keys.put("stands", "\"after-end\"");
    }
    keys.bytes("before", &check.before);
    keys.bytes("after", &check.after);
    if check.covers_start {
        keys.put("covers_start", "true");
    }
    if check.covers_before {
        keys.put("covers_before", "true");
    }
    keys.write("[checksum]", out);
}

fn line(line: &Solved<'_>, strict: bool, out: &mut String) {
    let mut keys = Keys::default();
    keys.bytes("starts", &line.table.starts);
    keys.bytes("ends", &line.table.ends);
    match line.times {
        (0, 0 | 1) => keys.put("times", "\"optional\""),
        (0, _) => keys.put("times", "\"any\""),
        (_, 0 | 1) => {}
        _ => keys.put("times", "\"repeated\""),
    }
    if let Some(eye) = line.line_eye {
        keys.put("eye", in_quotes(eye_name(eye)));
    }
    let put_separator = |keys: &mut Keys, form: &str, separator: &[u8], repeats: bool| {
        keys.put("form", in_quotes(form));
        keys.bytes("separator", separator);
        if repeats {
            keys.put("separator_repeats", "true");
        }
    };
    match &line.table.cut {
        Cut::Tagged { separator, repeats, assign, .. } => {
            put_separator(&mut keys, "tagged", separator, *repeats);
            keys.put("assign", quoted(assign));
            if !assign.is_empty() {
                keys.put("unknown", "\"keep\"");
            }
        }
        Cut::Delimited { separator, repeats } => put_separator(&mut keys, "delimited", separator, *repeats),
        Cut::Columns { .. } => keys.put("form", "\"columns\""),
    }
    keys.write("[[line]]", out);
    let always = |cell: usize| line.table.rows.iter().all(|row| row.cells[cell].is_some());
    let last_needed = (0..line.table.width()).rev().find(|cell| always(*cell));
    for field in &line.fields {
        let optional = match &line.table.cut {
            // A tag that was always there may still be left out of a frame that needs it not.
            Cut::Tagged { .. } => {
                let needed =
                    matches!(&field.is, Is::Number { quantity: Quantity::Sphere, .. } | Is::Eye { .. });
                !(needed && always(field.cell))
            }
            Cut::Delimited { .. } | Cut::Columns { .. } => last_needed.is_none_or(|last| field.cell > last),
        };
        let tagged_with_assign = matches!(&line.table.cut, Cut::Tagged { assign, .. } if !assign.is_empty());
        if tagged_with_assign && field.is == Is::Keep {
            continue;
        }
        self::field(line, field, optional, strict, out);
    }
}

fn field(line: &Solved<'_>, field: &Field, optional: bool, strict: bool, out: &mut String) {
    let mut keys = Keys::default();
    match &line.table.cut {
        Cut::Tagged { tags, .. } => keys.put("tag", quoted(&tags[field.cell])),
        Cut::Columns { ranges } => {
            let range = &ranges[field.cell];
            let columns = match range.len() {
                1 => range.end.to_string(),
                _ => format!("{}-{}", range.start + 1, range.end),
            };
            keys.put("columns", in_quotes(&columns));
        }
        Cut::Delimited { .. } => {}
    }
    let name = match &field.is {
        Is::Number { quantity, .. } => quantity.name(),
        Is::Amount { component, .. } => component.amount().name(),
        Is::BaseCodes { component, .. } => component.base_name(),
        Is::BaseDegrees { .. } => Quantity::PrismBase.name(),
        Is::Eye { .. } => "eye",
        Is::Mode { .. } => "mode",
        Is::Job { .. } => "job",
        Is::Literal(_) => "literal",
        // Of lines that come several times nothing can be kept under one name.
        Is::Keep if line.times.1 > 1 => "ignore",
        Is::Keep => "keep",
    };
    keys.put("is", in_quotes(name));
    if let Some(eye) = field.eye {
        keys.put("eye", in_quotes(eye_name(eye)));
    }
    match &field.is {
        Is::Number { quantity, form } => number(*quantity, form, strict, &mut keys),
        Is::BaseDegrees { form } => number(Quantity::PrismBase, form, strict, &mut keys),
        Is::Amount { component, form, base } => {
            number(component.amount(), form, strict, &mut keys);
            match base {
                BaseBy::Sign(positive) => keys.put("positive", in_quotes(base_name(*positive))),
                BaseBy::Letters { after, codes } => {
                    keys.codes("bases", codes, base_name);
                    keys.put("base_at", if *after { "\"after\"" } else { "\"before\"" });
                }
                BaseBy::Elsewhere => {}
            }
        }
        Is::BaseCodes { codes, missing, .. } => {
            keys.codes("values", codes, base_name);
            keys.list("missing", missing);
        }
        Is::Eye { codes, missing } => {
            keys.codes("values", codes, eye_name);
            keys.list("missing", missing);
        }
        Is::Mode { codes } => keys.codes("values", codes, mode_name),
        Is::Job { missing } => keys.list("missing", missing),
        Is::Literal(text) => keys.bytes("text", text),
        Is::Keep => {
            let starts = to_text(&line.table.starts);
            let name = format!("{} {}", starts.trim(), line.table.place(field.cell).replace("the ", ""));
            keys.put("name", in_quotes(name.trim()));
        }
    }
    if optional {
        keys.put("optional", "true");
    }
    keys.write("[[line.field]]", out);
}

fn number(quantity: Quantity, form: &Form, strict: bool, keys: &mut Keys) {
    let decimals =
        if form.exponent < 0 { Some(form.exponent.unsigned_abs() as usize) } else { form.decimals };
    match (form.exponent, form.points.as_slice()) {
        (..0, _) => keys.put("point", "\"implied\""),
        (_, b",") => keys.put("point", "\",\""),
        (_, [_, _, ..]) => keys.put("point", "\"either\""),
        (_, []) if matches!(quantity, Quantity::Axis | Quantity::PrismBase) => keys.put("point", "\"none\""),
        _ => {}
    }
    if let Some(whole) = form.whole.filter(|whole| *whole > 0 || strict) {
        let whole = if form.exponent < 0 { whole.saturating_sub(decimals.unwrap_or(0)) } else { whole };
        keys.put("whole", whole.to_string());
    }
    if let Some(decimals) = decimals {
        keys.put("decimals", decimals.to_string());
    }
    if form.sign_after {
        keys.put("sign_at", "\"after\"");
    }
    if form.gap {
        keys.put("blanks", "\"within\"");
    }
    match (form.exponent, quantity) {
        (1, _) => keys.put("unit", "\"cm\""),
        (2, _) => keys.put("unit", "\"fraction\""),
        _ => {}
    }
    if form.negated {
        keys.put("convention", "\"minus\"");
    }
    keys.bytes("before", &form.before);
    keys.bytes("after", &form.after);
    keys.list("missing", &form.missing);
}

fn eye_name(eye: Eye) -> &'static str {
    match eye {
        Eye::Right => "right",
        Eye::Left => "left",
    }
}

fn mode_name(mode: Mode) -> &'static str {
    match mode {
        Mode::Distance => "distance",
        Mode::Near => "near",
        Mode::Progressive => "progressive",
    }
}

fn base_name(base: Base) -> &'static str {
    match base {
        Base::In => "in",
        Base::Out => "out",
        Base::Up => "up",
        // Bases in degrees are numbers and have no codes.
        Base::Down | Base::Towards(_) => "down",
    }
}
