//! A ticket for each job that is decided, and again where a fail is overridden.

use super::Receiver;
use super::files::{plain, put};
use crate::bench::entry::{Entry, Seq};
use crate::bridge::message::Message;
use crate::judge::verdict::Outcome;
use crate::ledger::{LedgerError, Reader};
use crate::station::settings::printer::{Form, Printer, Spool};
use crate::ticket::{self, Ticket, TicketError, queue};
use jiff::tz::TimeZone;
use std::path::{Path, PathBuf};
use std::sync::Arc;

/// A printer's queue or folder.
#[derive(Debug, Clone)]
pub struct Tickets(Arc<Printing>);

#[derive(Debug)]
struct Printing {
    printer: Printer,
    ledger: PathBuf,
    station: String,
    timezone: TimeZone,
}

impl Tickets {
    /// Tickets of a station's jobs, with times in this zone.
    pub fn new(printer: Printer, ledger: &Path, station: &str, timezone: TimeZone) -> Self {
        let (ledger, station) = (ledger.to_owned(), station.to_owned());
        Self(Arc::new(Printing { printer, ledger, station, timezone }))
    }
}

impl Receiver for Tickets {
    const SHOWS_ITSELF: bool = false;

    async fn open(&mut self) -> Result<(), String> {
        Ok(())
    }

    async fn deliver(&mut self, messages: &[Message], kept: &mut usize) -> Result<(), String> {
        for message in messages {
            let (printing, seq) = (Arc::clone(&self.0), message.seq);
            tokio::task::spawn_blocking(move || printing.print(seq))
                .await
                .map_err(|why| why.to_string())??;
            *kept += 1;
        }
        Ok(())
    }
}

impl Printing {
    /// Prints the ticket of an entry, where it decides a job.
    fn print(&self, seq: Seq) -> Result<(), String> {
        let Some((job, ticket)) = self.ticket(seq).map_err(|why| why.to_string())? else { return Ok(()) };
        let made = match self.printer.form {
            Form::Text(columns) => Ok((ticket.text(columns).into_bytes(), "txt")),
            Form::Pdf(size) => ticket.pdf(size).map(|pdf| (pdf, "pdf")),
        };
        let (content, extension) = match made {
            Ok(made) => made,
            Err(why) => {
                // It will never fit: the next ticket must not wait for it.
                tracing::error!(%why, "no ticket was printed");
                return Ok(());
            }
        };
        let name = format!("{}-{:010}.{extension}", plain(&job), seq.0);
        match &self.printer.to {
            Spool::Folder(folder) => std::fs::create_dir_all(folder)
                .and_then(|()| put(folder, &name, &content))
                .map_err(|why| format!("{}: {why}", folder.display())),
            Spool::Queue(queue) => {
                let folder = tempfile::tempdir().map_err(|why| format!("no room for a ticket: {why}"))?;
                let file = folder.path().join(name);
                std::fs::write(&file, content).map_err(|why| format!("{}: {why}", file.display()))?;
                let said = queue::hand_over(queue, &job, &file).map_err(|why| why.to_string())?;
                tracing::info!(job, said, "a ticket was handed over");
                Ok(())
            }
        }
    }

    /// The ticket that an entry asks for, and its job.
    fn ticket(&self, seq: Seq) -> Result<Option<(String, Ticket)>, TicketError> {
        let record = Reader::open(&self.ledger)?;
        let verdict = match entry(&record, seq)? {
            Some(Entry::Override(signed)) => signed.about,
            _ => seq,
        };
        let Some(Entry::Verdict(given)) = entry(&record, verdict)? else { return Ok(None) };
        if given.outcome == Outcome::Incomplete {
            return Ok(None);
        }
        let ticket = ticket::of(&record, verdict, &self.station, &self.timezone)?;
        Ok(Some((given.job.to_string(), ticket)))
    }
}

fn entry(record: &Reader, seq: Seq) -> Result<Option<Entry>, LedgerError> {
    Ok(record.entry(seq)?.map(|numbered| numbered.entry))
}
