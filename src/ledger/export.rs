//! Export of the entries or of a view, as text that other programs read.

use super::error::{At, LedgerError};
use super::project::as_sql;
use super::read::Reader;
use crate::bench::entry::Seq;
use rusqlite::types::ValueRef;
use std::io::{self, Write};
use std::ops::RangeInclusive;

/// What can be exported: the entries, and the views of `schema.sql`.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Table {
    /// The entries as they stand, hashes in hexadecimal: enough to verify the chain again.
    Entries,
    /// What came in.
    Frames,
    /// What was measured, a row for each lens.
    Readings,
    /// What was ordered, a row for each lens.
    Orders,
    /// How jobs came out.
    Verdicts,
    /// Each quantity of each verdict.
    VerdictItems,
    /// Manual readings compared with instruments'.
    Crosschecks,
    /// Instruments compared with reference lenses.
    InstrumentChecks,
    /// Everything else.
    Events,
}

impl Table {
    /// All of them.
    pub const ALL: [Table; 9] = [
        Table::Entries,
        Table::Frames,
        Table::Readings,
        Table::Orders,
        Table::Verdicts,
        Table::VerdictItems,
        Table::Crosschecks,
        Table::InstrumentChecks,
        Table::Events,
    ];

    /// Its name in the file.
    pub fn name(self) -> &'static str {
        match self {
            Table::Entries => "entries",
            Table::Frames => "frames",
            Table::Readings => "readings",
            Table::Orders => "orders",
            Table::Verdicts => "verdicts",
            Table::VerdictItems => "verdict_items",
            Table::Crosschecks => "crosschecks",
            Table::InstrumentChecks => "instrument_checks",
            Table::Events => "events",
        }
    }
}

/// How an export is written.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Format {
    /// Comma-separated values (RFC 4180) under a line of column names. What is absent is empty.
    Csv,
    /// A JSON object in each line, keyed by column name. What is absent is null.
    JsonLines,
}

impl Reader {
    /// Writes the rows of a table whose entries lie in a range; gives how many.
    ///
    /// # Errors
    /// When the ledger cannot be read or `out` not be written.
    pub fn export(
        &self,
        table: Table,
        range: RangeInclusive<Seq>,
        format: Format,
        out: impl Write,
    ) -> Result<u64, LedgerError> {
        let sql = format!("SELECT * FROM {} WHERE seq BETWEEN ?1 AND ?2 ORDER BY seq", table.name());
        let mut statement = self.conn.prepare(&sql).at(&self.path)?;
        let columns: Vec<String> = statement.column_names().map(str::to_owned).collect();
        let mut rows = statement.query([as_sql(range.start().0), as_sql(range.end().0)]).at(&self.path)?;
        let mut to = Writer::new(format, out, &columns)?;
        let mut written = 0;
        while let Some(row) = rows.next().at(&self.path)? {
            let values = (0..columns.len()).map(|column| row.get_ref(column)).collect::<Result<Vec<_>, _>>();
            to.row(&columns, &values.at(&self.path)?)?;
            written += 1;
        }
        to.end()?;
        Ok(written)
    }
}

enum Writer<W: Write> {
    Csv(Box<csv::Writer<W>>),
    JsonLines(W),
}

impl<W: Write> Writer<W> {
    fn new(format: Format, out: W, columns: &[String]) -> io::Result<Self> {
        Ok(match format {
            Format::Csv => {
                let mut csv = csv::Writer::from_writer(out);
                csv.write_record(columns)?;
                Writer::Csv(Box::new(csv))
            }
            Format::JsonLines => Writer::JsonLines(out),
        })
    }

    fn row(&mut self, columns: &[String], values: &[ValueRef<'_>]) -> io::Result<()> {
        match self {
            Writer::Csv(csv) => Ok(csv.write_record(values.iter().map(|value| match json(*value) {
                serde_json::Value::Null => String::new(),
                serde_json::Value::String(text) => text,
                other => other.to_string(),
            }))?),
            Writer::JsonLines(out) => {
                for (at, (column, value)) in columns.iter().zip(values).enumerate() {
                    let before = if at == 0 { '{' } else { ',' };
                    write!(out, "{before}{column:?}:{}", json(*value))?;
                }
                writeln!(out, "}}")
            }
        }
    }

    fn end(self) -> io::Result<()> {
        match self {
            Writer::Csv(mut csv) => csv.flush(),
            Writer::JsonLines(mut out) => out.flush(),
        }
    }
}

fn json(value: ValueRef<'_>) -> serde_json::Value {
    match value {
        ValueRef::Null => serde_json::Value::Null,
        ValueRef::Integer(number) => number.into(),
        ValueRef::Real(number) => number.into(),
        ValueRef::Text(text) => String::from_utf8_lossy(text).into(),
        ValueRef::Blob(bytes) => bytes.iter().map(|byte| format!("{byte:02x}")).collect::<String>().into(),
    }
}
