//! Entries in one line each.

use super::language::Language;
use crate::bench::entry::{Entry, InForce, PersonDid, Says, SoftwareState};
use crate::order::{LensKind, Order};
use crate::parsers::notation;
use crate::parsers::reading::Eye;

/// How many bytes of a frame stand in a line.
const QUOTED: usize = 60;

impl Language {
    /// A kind of entry in words.
    pub fn kind<'k>(&self, kind: &'k str) -> &'k str
    where
        Self: 'k,
    {
        match kind {
            "frame" => self.kind_frame,
            "reading" => self.kind_reading,
            "order" => self.kind_order,
            "verdict" => self.kind_verdict,
            "job" => self.kind_job,
            "note" => self.kind_note,
            "port" => self.kind_port,
            "clock" => self.kind_clock,
            "in-force" => self.kind_in_force,
            "software" => self.kind_software,
            "checkpoint" => self.kind_checkpoint,
            "person" => self.kind_person,
            "override" => self.kind_override,
            "manual" => self.kind_manual,
            "cross-check" => self.kind_cross_check,
            "reference-lens" => self.kind_reference_lens,
            "instrument-check" => self.kind_instrument_check,
            "drift" => self.kind_drift,
            "host" => self.kind_host,
            "gap" => self.kind_gap,
            other => other,
        }
    }

    /// What was ordered, in a few words.
    pub fn order_kind(&self, order: &Order) -> String {
        let kind = match order.lens {
            LensKind::SingleVision => self.single_vision,
            LensKind::Multifocal => self.multifocal,
            LensKind::Progressive => self.progressive,
        };
        format!("{kind}, {}", if order.mounted { self.mounted } else { self.uncut })
    }

    /// An eye in a word.
    pub fn eye(&self, eye: Eye) -> &'static str {
        match eye {
            Eye::Right => self.right,
            Eye::Left => self.left,
        }
    }

    /// A text that was in force, in words.
    pub fn text_in_force(&self, what: InForce) -> &'static str {
        match what {
            InForce::Settings => self.settings,
            InForce::Layout => self.layout,
            InForce::Rules => self.rule_set,
            InForce::Limits => self.limits_of_checks,
        }
    }

    /// What a note says, in a word.
    pub fn says(&self, says: Says) -> &'static str {
        match says {
            Says::Void => self.voided,
            Says::Assign => self.assigned,
            Says::Remark => self.remark,
        }
    }

    /// An entry in one line; the jobs that it concerns stand beside it.
    pub fn entry(&self, entry: &Entry) -> String {
        let words = match entry {
            Entry::Frame(frame) => {
                let text = notation::to_text(&frame.bytes[..frame.bytes.len().min(QUOTED)]);
                let reject = frame.reject.as_ref().map_or_else(String::new, |_| self.not_read.to_owned());
                [frame.instrument.clone(), text, reject].to_vec()
            }
            Entry::Reading(reading) => {
                vec![reading.instrument.clone(), self.measured_line(&reading.reading)]
            }
            Entry::Order(order) => {
                let revision = format!("{} {}", self.revision, order.revision);
                vec![
                    revision,
                    self.order_kind(&order.order),
                    order.by.clone().unwrap_or_else(|| order.source.clone()),
                ]
            }
            Entry::Verdict(verdict) => {
                let stand = self.stand(verdict);
                vec![stand.word.to_owned(), stand.in_short()]
            }
            Entry::Job(choice) => {
                let scanned = choice
                    .scanned
                    .as_ref()
                    .map_or_else(String::new, |text| format!("{}: {text}", self.not_a_job));
                vec![scanned, choice.by.clone()]
            }
            Entry::Note(note) => {
                let eye = note.eye.map_or("", |eye| self.eye(eye)).to_owned();
                let about = format!("{} {}", self.entry_word, note.about);
                let job = note.job.as_ref().map_or_else(String::new, |job| format!("{} {job}", self.job));
                vec![self.says(note.says).to_owned(), about, job, eye, note.reason.clone(), note.by.clone()]
            }
            Entry::Port(port) => {
                vec![port.name.clone(), port.state.to_string(), port.why.clone().unwrap_or_default()]
            }
            Entry::Clock(clock) => vec![format!("{:+.1} s", clock.step_seconds)],
            Entry::InForce(text) => vec![self.text_in_force(text.what).to_owned(), text.name.clone()],
            Entry::Software(software) => {
                let state = match software.state {
                    SoftwareState::Started => self.started,
                    SoftwareState::Stopped => self.stopped,
                };
                vec![state.to_owned(), software.version.clone()]
            }
            Entry::Checkpoint(checkpoint) => {
                vec![checkpoint.entries.to_string(), checkpoint.head.chars().take(16).collect()]
            }
            Entry::Person(person) => {
                let did = match person.did {
                    PersonDid::SignedIn => self.signed_in,
                    PersonDid::SignedOut => self.signed_out,
                    PersonDid::Refused => self.refused,
                    PersonDid::AccountAdded => self.account_added,
                    PersonDid::AccountChanged => self.account_changed,
                    PersonDid::AccountRemoved => self.account_removed,
                };
                vec![
                    did.to_owned(),
                    person.name.clone().unwrap_or_default(),
                    person.why.clone().unwrap_or_default(),
                ]
            }
            Entry::Override(signed) => {
                vec![signed.by.clone(), signed.meaning.clone(), signed.reason.clone()]
            }
            Entry::Manual(manual) => {
                let eye = manual.eye.map_or("", |eye| self.eye(eye)).to_owned();
                vec![manual.by.clone(), eye, self.measured_lens(&manual.lens)]
            }
            Entry::CrossCheck(check) => {
                let (eye, word) = (self.eye(check.eye).to_owned(), self.compared(check).word.to_owned());
                vec![check.by.clone(), check.instrument.clone(), eye, word]
            }
            Entry::ReferenceLens(entry) => vec![entry.lens.name.to_string(), entry.lens.serial.clone()],
            Entry::InstrumentCheck(check) => {
                vec![check.instrument.clone(), check.lens.to_string(), check.outcome.to_string()]
            }
            Entry::Host(said) => {
                let text = notation::to_text(&said.bytes[..said.bytes.len().min(QUOTED)]);
                let undelivered = if said.undelivered { self.undelivered } else { "" };
                vec![said.instrument.clone(), text, undelivered.to_owned()]
            }
            Entry::Gap(gap) => {
                let bytes = format!("{} {}", gap.bytes, self.bytes_word);
                vec![gap.instrument.clone(), gap.of.to_string(), bytes, gap.gap.to_string()]
            }
            Entry::Drift(drift) => {
                vec![drift.instrument.clone(), drift.lens.to_string(), drift.rule.to_string()]
            }
        };
        words.into_iter().filter(|word| !word.is_empty()).collect::<Vec<_>>().join(" \u{b7} ")
    }
}
