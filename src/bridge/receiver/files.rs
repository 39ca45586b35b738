//! A file for each message, in a folder that another program empties.
//!
//! A file is written whole under a hidden name and then renamed: what can be seen is complete. Its
//! name is the job (or the kind, where there is no job), the entry's number and the kind:
//! `4471-0000000033-verdict.json`. A repeat has the same name and the same content.

use super::Receiver;
use crate::bridge::message::Message;
use std::fmt::Write as _;
use std::fs::{self, File};
use std::io::{self, Write as _};
use std::path::{Path, PathBuf};

/// A folder.
#[derive(Debug)]
pub struct Files {
    folder: PathBuf,
}

impl Files {
    /// Files go into `folder`, which is made where it is missing.
    pub fn new(folder: PathBuf) -> Self {
        Self { folder }
    }
}

impl Receiver for Files {
    async fn open(&mut self) -> Result<(), String> {
        let folder = self.folder.clone();
        on_disk(&self.folder, move || fs::create_dir_all(folder)).await
    }

    async fn deliver(&mut self, messages: &[Message], kept: &mut usize) -> Result<(), String> {
        for message in messages {
            let (folder, name) = (self.folder.clone(), file_name(message));
            let text = format!("{}\n", message.json);
            on_disk(&self.folder, move || put(&folder, &name, text.as_bytes())).await?;
            *kept += 1;
        }
        Ok(())
    }
}

async fn on_disk(
    folder: &Path,
    work: impl FnOnce() -> io::Result<()> + Send + 'static,
) -> Result<(), String> {
    tokio::task::spawn_blocking(work)
        .await
        .expect("writing a file does not panic")
        .map_err(|why| format!("{}: {why}", folder.display()))
}

/// Puts a file into a folder so that it is there whole or not at all, also after a power cut.
pub(crate) fn put(folder: &Path, name: &str, content: &[u8]) -> io::Result<()> {
    let hidden = folder.join(format!(".{name}.part"));
    let mut file = File::create(&hidden)?;
    file.write_all(content)?;
    file.sync_all()?;
    fs::rename(&hidden, folder.join(name))?;
    File::open(folder)?.sync_all()
}

fn file_name(message: &Message) -> String {
    match &message.job {
        Some(job) => format!("{}-{:010}-{}.json", plain(job.as_str()), message.seq.0, message.kind),
        None => format!("{}-{:010}.json", message.kind, message.seq.0),
    }
}

/// The most characters of a job number in a name: file systems end at 255 bytes.
const MOST: usize = 120;

/// A job number as part of a name of a file or topic: letters, digits, `-`, `_` and `.` within it
/// stay, other bytes become `%` and two digits; what is longer than [`MOST`] is cut.
pub(crate) fn plain(text: &str) -> String {
    let mut plain = String::new();
    for (at, byte) in text.bytes().enumerate() {
        if plain.len() >= MOST {
            break;
        }
        let stays = byte.is_ascii_alphanumeric() || matches!(byte, b'-' | b'_') || (byte == b'.' && at > 0);
        if stays {
            plain.push(char::from(byte));
        } else {
            write!(plain, "%{byte:02X}").expect("writing into a String cannot fail");
        }
    }
    plain
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_job_number_leads_out_of_the_folder() {
        assert_eq!(plain("4471"), "4471");
        assert_eq!(plain("A.1_b-2"), "A.1_b-2");
        assert_eq!(plain("../x"), "%2E.%2Fx");
        assert_eq!(plain("a/b+c#"), "a%2Fb%2Bc%23");
        assert_eq!(plain("é"), "%C3%A9");
    }

    #[test]
    fn the_longest_job_number_is_a_name_for_a_file() {
        let name = plain(&"\u{1f453}".repeat(64));
        assert!(name.len() + ".-0123456789-certificate.json.part".len() < 255, "{}", name.len());
    }
}
