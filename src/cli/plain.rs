//! What must not reach a terminal raw: control characters, and those that turn the direction of a
//! text, in what instruments, scanners and files have sent.

use crate::bench::entry::Entry;
use crate::parsers::notation::{acts, name, replaced};
use serde_json::Value;
use std::borrow::Cow;

/// A text with such characters by their names, as the ledger's notation writes them.
pub(super) use crate::parsers::notation::shown as text;

/// The same JSON, with such characters escaped as JSON escapes them.
pub(super) fn json(text: &str) -> Cow<'_, str> {
    replaced(text, |char| format!("\\u{:04x}", u32::from(char)))
}

/// An entry whose texts can be shown. For lines only: it is not what is on record.
pub(super) fn entry(entry: &Entry) -> Cow<'_, Entry> {
    let payload = entry.payload();
    // JSON escapes most of them, so that without either sign there are none.
    if !payload.contains('\\') && !payload.contains(acts) {
        return Cow::Borrowed(entry);
    }
    let cleaned = |by| {
        let mut value: Value = serde_json::from_str(&payload).expect("payloads are JSON");
        clean(&mut value, by).then(|| Entry::from_payload(entry.kind(), &value.to_string()))
    };
    match cleaned(name) {
        None => Cow::Borrowed(entry),
        Some(Ok(plain)) => Cow::Owned(plain),
        // A job number that is as long as one may be has no room for names.
        Some(Err(_)) => {
            let plain = cleaned(|_| char::REPLACEMENT_CHARACTER.to_string()).and_then(Result::ok);
            Cow::Owned(plain.expect("lengths stay, and every other text that is checked has none of them"))
        }
    }
}

/// Whether anything had to be changed.
fn clean(value: &mut Value, by: fn(char) -> String) -> bool {
    match value {
        Value::String(string) => match replaced(string, by) {
            Cow::Borrowed(_) => false,
            Cow::Owned(plain) => {
                *string = plain;
                true
            }
        },
        // Each of them, also after one that was changed.
        Value::Array(values) => values.iter_mut().map(|value| clean(value, by)).filter(|it| *it).count() > 0,
        Value::Object(fields) => {
            fields.values_mut().map(|value| clean(value, by)).filter(|it| *it).count() > 0
        }
        Value::Null | Value::Bool(_) | Value::Number(_) => false,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::bench::entry::{JobEntry, NoteEntry, PortEntry, PortState, Says, Seq};

    #[test]
    fn what_a_terminal_acts_on_is_written_by_name() {
        assert_eq!(
            text("a\u{1b}[2Jb\r\n\u{7f}\u{9b}1m\u{202e}x"),
            "a<ESC>[2Jb<CR><LF><DEL><U+009B>1m<U+202E>x"
        );
        assert_eq!(text("R\u{e9}sum\u{e9} 4471 <x>"), "R\u{e9}sum\u{e9} 4471 <x>");
        assert_eq!(json("{\"a\":\"\u{9b}2J\"}"), "{\"a\":\"\\u009b2J\"}");
    }

    #[test]
    fn every_text_of_an_entry_is_cleaned_and_the_rest_stays() {
        let port = |why: &str| {
            let why = Some(why.to_owned());
            Entry::Port(PortEntry { name: "f".into(), device: "/dev/x".into(), state: PortState::Lost, why })
        };
        assert_eq!(*entry(&port("\u{1b}]0;x\u{7}")), port("<ESC>]0;x<BEL>"));
        assert!(matches!(entry(&port("a \\ b")), Cow::Borrowed(_)));
        let note = |reason: &str, by: &str| {
            let (about, says) = (Seq(3), Says::Remark);
            Entry::Note(NoteEntry {
                about,
                says,
                reason: reason.into(),
                by: by.into(),
                job: None,
                eye: None,
                job_before: None,
            })
        };
        assert_eq!(*entry(&note("\u{202e}a", "\u{85}")), note("<U+202E>a", "<U+0085>"));
        let job = |number: String| {
            let (job, by, by_hand, scanned) = (number.parse().ok(), "s".to_owned(), false, None);
            Entry::Job(JobEntry { job, by, by_hand, scanned })
        };
        let long = |turned: &str| job(format!("{}{turned}", "4".repeat(63)));
        assert_eq!(*entry(&long("\u{202e}")), long("\u{fffd}"));
    }
}
