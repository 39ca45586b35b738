//! A frame as people look at it: every byte, and what it was taken for.

use crate::parsers::layout::{Account, Span, What};
use crate::parsers::notation;
use anstyle::{AnsiColor, Style};
use std::fmt::Write;

/// How many bytes stand in one row, where there is room.
pub(super) const ROW: usize = 70;
/// How many bytes of one span stand in a line of the table.
const PIECE: usize = 12;

/// What the marks under the bytes mean.
pub(super) const LEGEND: &str = "^ value  : name  = must stand there  # checksum  ~ passed over  ! not read  X the first byte that is wrong";

fn mark(what: &What) -> char {
    match what {
        What::Field { .. } => '^',
        What::Tag => ':',
        What::Separator => ' ',
        What::Literal | What::Terminator => '=',
        What::Checksum => '#',
        What::Skipped { .. } => '~',
        What::Unread { .. } => '!',
    }
}

fn style(what: &What) -> Style {
    let colour = match what {
        What::Field { .. } => AnsiColor::Green,
        What::Checksum => AnsiColor::Cyan,
        What::Skipped { .. } => AnsiColor::Yellow,
        What::Unread { .. } => AnsiColor::Red,
        What::Tag | What::Separator | What::Literal | What::Terminator => return Style::new().dimmed(),
    };
    Style::new().fg_color(Some(colour.into()))
}

fn words(what: &What) -> String {
    match what {
        What::Field { name, absent: false } => name.clone(),
        What::Field { name, absent: true } => format!("{name}: not measured"),
        What::Tag => "the name of what follows".to_owned(),
        What::Separator => "between values".to_owned(),
        What::Literal => "must stand there".to_owned(),
        What::Checksum => "checksum".to_owned(),
        What::Terminator => "end of the frame".to_owned(),
        What::Skipped { why } => format!("passed over: {why}"),
        What::Unread { why } => format!("not read: {why}"),
    }
}

/// The bytes under a ruler of offsets, with a mark under each; `wrong` is the first that is not as
/// the layout says. `margin` stands in front of every line of `width` bytes.
pub(super) fn picture(
    frame: &[u8],
    spans: &[Span],
    wrong: Option<usize>,
    margin: &str,
    width: usize,
) -> String {
    let mut out = String::new();
    let at = |offset: usize| spans.iter().find(|span| span.range.contains(&offset));
    for (row, bytes) in frame.chunks(width).enumerate() {
        let from = row * width;
        let mut ruler = String::new();
        for offset in (from..from + bytes.len()).step_by(10) {
            let _ = write!(ruler, "{offset:<10}");
        }
        let _ = writeln!(out, "{margin}{}", ruler.trim_end());
        let (mut shown, mut marks) = (String::new(), String::new());
        for (index, byte) in bytes.iter().enumerate() {
            let printable = if matches!(byte, b' '..=b'~') { char::from(*byte) } else { '\u{b7}' };
            let span = at(from + index);
            let style = span.map_or_else(Style::new, |span| style(&span.what));
            let _ = write!(shown, "{style}{printable}{style:#}");
            let here = wrong == Some(from + index);
            marks.push(if here { 'X' } else { span.map_or('!', |span| mark(&span.what)) });
        }
        let _ = writeln!(out, "{margin}{shown}");
        let _ = writeln!(out, "{margin}{}", marks.trim_end());
    }
    out
}

/// Every span in a line of its own, beside what was read.
pub(super) fn table(frame: &[u8], account: &Account, reading: &[(String, String)]) -> String {
    let mut left: Vec<(String, Style)> = Vec::new();
    for Span { range, what } in &account.spans {
        for (index, piece) in frame[range.clone()].chunks(PIECE).enumerate() {
            let offset = range.start + index * PIECE;
            let plain = piece.iter().all(|byte| matches!(byte, b' '..=b'~'));
            let hex: Vec<String> = piece.iter().map(|byte| format!("{byte:02X}")).collect();
            let hex = if plain { String::new() } else { format!("  ({})", hex.join(" ")) };
            let text = format!("{}{hex}", notation::to_text(piece));
            let what = if index == 0 { words(what) } else { "\"".to_owned() };
            left.push((format!("{offset:>6}  {text:<22}  {what}"), style_of(&account.spans, range.start)));
        }
    }
    let width = left.iter().map(|(text, _)| text.chars().count()).max().unwrap_or(0).min(70);
    let names = reading.iter().map(|(name, _)| name.len()).max().unwrap_or(0);
    let mut out = String::new();
    for row in 0..left.len().max(reading.len()) {
        let (text, style) = left.get(row).map_or(("", Style::new()), |(text, style)| (text.as_str(), *style));
        let pad = width.saturating_sub(text.chars().count());
        let right =
            reading.get(row).map_or_else(String::new, |(name, value)| format!("{name:<names$}  {value}"));
        let line = format!("{style}{text}{style:#}{:pad$}   {right}", "");
        let _ = writeln!(out, "{}", line.trim_end());
    }
    out
}

fn style_of(spans: &[Span], offset: usize) -> Style {
    spans.iter().find(|span| span.range.start == offset).map_or_else(Style::new, |span| style(&span.what))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::parsers::reader::Reader;

    fn bare(text: &str) -> String {
        anstream::adapter::strip_str(text).to_string()
    }

    #[test]
    fn every_byte_has_its_mark_under_the_ruler() {
        let frame = b"S=-1.25 C=--- A=x9\r\n";
        let account = Reader::named("tagged").expect("built in").account(frame);
        let picture = bare(&picture(frame, &account.spans, Some(16), "  ", ROW));
        let expected = ["  0         10", "  S=-1.25 C=--- A=x9\u{b7}\u{b7}", "  ::^^^^^ ::^^^ ::X!!!", ""];
        assert_eq!(picture, expected.join("\n"));
    }

    #[test]
    fn spans_stand_beside_the_reading() {
        let frame = b"S=-1.25 C=---\r\n";
        let account = Reader::named("tagged").expect("built in").account(frame);
        let reading = [("unspecified.sphere".to_owned(), "-1.25".to_owned())];
        let table = bare(&table(frame, &account, &reading));
        let lines: Vec<&str> = table.lines().collect();
        assert_eq!(lines.len(), 6, "{table}");
        assert!(
            lines[0].starts_with("     0  S=   ") && lines[0].ends_with("unspecified.sphere  -1.25"),
            "{table}"
        );
        assert!(lines[4].contains("10  ---") && lines[4].contains("cylinder: not measured"), "{table}");
        assert!(
            lines[5].contains("13  <CR><LF>  (0D 0A)") && lines[5].contains("end of the frame"),
            "{table}"
        );
    }
}
