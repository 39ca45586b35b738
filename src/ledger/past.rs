//! The record as the core looks back at it.

use super::error::LedgerError;
use super::read::Reader;
use crate::bench::Past;
use crate::bench::entry::{Numbered, Seq};
use crate::parsers::reading::JobNumber;

impl Past for Reader {
    type Error = LedgerError;

    fn history(&mut self, job: &JobNumber) -> Result<Vec<Numbered>, LedgerError> {
        self.job_history(job)
    }

    fn entry(&mut self, seq: Seq) -> Result<Option<Numbered>, LedgerError> {
        Reader::entry(self, seq)
    }
}
