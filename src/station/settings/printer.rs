//! The `[[printer]]` tables: where tickets of jobs go.

use super::feed::{Begin, Destination, Feed};
use super::{Check, SettingsError};
use crate::ticket::{Size, text};
use serde::Deserialize;
use std::path::PathBuf;
use toml::Spanned;

/// How tickets are made, and where they go.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Printer {
    /// Where they go.
    pub to: Spool,
    /// How they are made.
    pub form: Form,
}

/// Where tickets go.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Spool {
    /// Into this folder, for another program.
    Folder(PathBuf),
    /// To this queue of the printing system.
    Queue(String),
}

/// How a ticket is made.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Form {
    /// As plain text with so many columns.
    Text(usize),
    /// As PDF for paper of this size.
    Pdf(Size),
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct PrinterTable {
    pub(super) name: Spanned<String>,
    queue: Option<Spanned<String>>,
    folder: Option<Spanned<PathBuf>>,
    #[serde(rename = "as")]
    form: Option<Spanned<String>>,
    size: Option<Spanned<String>>,
    columns: Option<Spanned<usize>>,
}

impl Check<'_> {
    /// A printer is a feed: it goes on where it was, too.
    pub(super) fn printer(&self, table: &PrinterTable) -> Result<Feed, SettingsError> {
        let to = match (&table.queue, &table.folder) {
            (Some(queue), None) => match queue.get_ref().trim() {
                "" => {
                    return Err(
                        self.at(queue.span(), "queue is empty: expected a name that `lpstat -e` lists")
                    );
                }
                name => Spool::Queue(name.to_owned()),
            },
            (None, Some(folder)) => Spool::Folder(self.folder.join(folder.get_ref())),
            _ => {
                return Err(self.at(
                    table.name.span(),
                    "tickets go one way: expected one of queue = \"…\" or folder = \"…\"",
                ));
            }
        };
        let is_text = self.pick(&table.form, false, |form| match form.as_str() {
            "text" => Ok(true),
            "pdf" => Ok(false),
            _ => Err("as: expected \"pdf\" or \"text\"".to_owned()),
        })?;
        let form = match (is_text, &table.size, &table.columns) {
            (true, Some(size), _) => {
                return Err(self.at(size.span(), "size is that of a PDF: expected columns, for text"));
            }
            (false, _, Some(columns)) => {
                return Err(self.at(columns.span(), "columns are those of text: expected size, for a PDF"));
            }
            (true, None, columns) => {
                Form::Text(self.pick(columns, text::COLUMNS, |columns| match columns {
                    text::FEWEST..=200 => Ok(*columns),
                    _ => Err(format!("columns: expected {} to 200", text::FEWEST)),
                })?)
            }
            (false, size, None) => Form::Pdf(
                self.pick(size, Size::default(), |size| size.parse().map_err(|why| format!("size: {why}")))?,
            ),
        };
        Ok(Feed {
            name: self.name(&table.name)?,
            kinds: vec!["verdict", "override"],
            from: Begin::Now,
            to: Destination::Printer(Printer { to, form }),
        })
    }
}
