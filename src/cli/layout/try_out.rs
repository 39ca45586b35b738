//! `fociline layout try`: a capture through a layout, every byte accounted for.

use super::super::account::{LEGEND, ROW, picture, table};
use super::super::{Answer, json};
use crate::optics::normal_form;
use crate::parsers::frame::{Ended, Frame, Framer};
use crate::parsers::layout::{Account, Span, What};
use crate::parsers::notation;
use crate::parsers::reader::Reader;
use crate::parsers::reading::Reading;
use serde_json::Value;

/// Exit status 1 when a frame was not read.
pub(super) fn try_out(reader: &Reader, bytes: &[u8], as_json: bool) -> Answer {
    let mut framer = Framer::new(reader.framing().clone());
    let mut frames = Vec::new();
    framer.push(bytes, |frame| frames.push(frame));
    frames.extend(framer.idle());
    frames.extend(framer.finish());
    let mut all_read = !frames.is_empty();
    for (number, frame) in frames.iter().enumerate() {
        let (account, why) = account(reader, frame);
        let by = reader.read_by(&frame.bytes).1;
        all_read &= why.is_none();
        let reading = account.result.clone().ok().filter(|_| why.is_none()).map(normal_form);
        if as_json {
            let mut line = serde_json::json!({
                "frame": number + 1,
                "bytes": notation::to_text(&frame.bytes),
                "ended": frame.ended,
                "layout": by.name(),
                "spans": account.spans,
            });
            match (&reading, &why) {
                (Some(reading), _) => line["reading"] = serde_json::json!(reading),
                (None, why) => line["reject"] = serde_json::json!(why),
            }
            println!("{}", json(&line));
            continue;
        }
        let wrong = account.result.as_ref().err().filter(|_| frame.ended == Ended::Complete);
        let wrong = wrong.map(|reject| reject.offset);
        println!("frame {}, {} bytes, by layout {}", number + 1, frame.bytes.len(), by.name());
        anstream::print!("{}", picture(&frame.bytes, &account.spans, wrong, "        ", ROW));
        let leaves = reading.as_ref().map(leaves).unwrap_or_default();
        anstream::print!("{}", table(&frame.bytes, &account, &leaves));
        if let Some(why) = &why {
            println!("  NOT READ: {why}");
        }
        println!();
    }
    if frames.is_empty() {
        eprintln!("no bytes: nothing to read");
    } else if !as_json {
        println!("{LEGEND}");
    }
    Ok(all_read)
}

/// What became of every byte, and why the frame was not read, where it was not.
fn account(reader: &Reader, frame: &Frame) -> (Account, Option<String>) {
    let why = match frame.ended {
        Ended::Complete => None,
        Ended::Oversize => Some("longer than the layout's frame may be"),
        Ended::Unfinished => Some("unfinished: the end of the frame did not come"),
        Ended::Stray => Some("outside any frame"),
    };
    let mut account = reader.account(&frame.bytes);
    if let Some(why) = why {
        // A frame that is not whole is not read, whatever stands in it.
        let unread = What::Unread { why: why.to_owned() };
        account.spans = vec![Span { range: 0..frame.bytes.len(), what: unread }];
        return (account, Some(why.to_owned()));
    }
    let why = account.result.as_ref().err().map(ToString::to_string);
    (account, why)
}

/// Every value of a reading by its name, in the form that files and the ledger have.
fn leaves(reading: &Reading) -> Vec<(String, String)> {
    fn add(name: &str, value: &Value, leaves: &mut Vec<(String, String)>) {
        match value {
            Value::Object(parts) => {
                for (part, value) in parts {
                    let name = if name.is_empty() { part.clone() } else { format!("{name}.{part}") };
                    add(&name, value, leaves);
                }
            }
            Value::Array(parts) if name.ends_with(".prism") => {
                let one = |part: &Value| {
                    let base = part["base"].as_str().map_or_else(|| part["base"].to_string(), str::to_owned);
                    format!("{} {base}", part["amount"])
                };
                let parts: Vec<String> = parts.iter().map(one).collect();
                let parts = if parts.is_empty() { "none".to_owned() } else { parts.join(" + ") };
                leaves.push((name.to_owned(), parts));
            }
            Value::String(text) => leaves.push((name.to_owned(), text.clone())),
            other => leaves.push((name.to_owned(), other.to_string())),
        }
    }
    let value = serde_json::to_value(reading).expect("these forms hold only text keys and finite decimals");
    let mut leaves = Vec::new();
    add("", &value, &mut leaves);
    leaves
}
