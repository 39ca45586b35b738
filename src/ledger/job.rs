//! A job as the ledger knows it.

use super::{LedgerError, Reader};
use crate::bench::view::JobView;
use crate::parsers::reading::JobNumber;

impl JobView {
    /// What is known of a job; nothing where there is no such job.
    ///
    /// # Errors
    /// When the ledger cannot be read.
    pub fn of(record: &Reader, job: &JobNumber) -> Result<Option<Self>, LedgerError> {
        let history = record.job_history(job)?;
        Ok((!history.is_empty()).then(|| Self::from_history(job.clone(), &history)))
    }
}
