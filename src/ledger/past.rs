//! The record as the core looks back at it.

use super::error::LedgerError;
use super::read::Reader;
use crate::bench::Past;
use crate::bench::entry::{Numbered, Seq, TextHash};
use crate::parsers::reading::JobNumber;

impl Past for Reader {
    type Error = LedgerError;

    fn history(&mut self, job: &JobNumber) -> Result<Vec<Numbered>, LedgerError> {
        self.job_history(job)
    }

    fn entry(&mut self, seq: Seq) -> Result<Option<Numbered>, LedgerError> {
        Reader::entry(self, seq)
    }

    fn checks(&mut self) -> Result<Vec<Numbered>, LedgerError> {
        self.reference_and_checks(Seq(u64::MAX))
    }

    fn was_in_force(&mut self, text: &TextHash) -> Result<bool, LedgerError> {
        Ok(self.in_force(&text.0)?.is_some())
    }
}
