//! The `[page]` table: where the page listens, and who may use it.

use super::{Check, SettingsError};
use crate::ledger::beside;
use serde::Deserialize;
use std::net::SocketAddr;
use std::path::{Path, PathBuf};
use std::time::Duration;
use toml::Spanned;

/// How the page is served.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Page {
    /// Where it listens.
    pub listen: SocketAddr,
    /// The names by which this computer is reached, besides its address and `localhost`.
    pub names: Vec<String>,
    /// Whether people have to sign in.
    pub sign_in: bool,
    /// The file of people's accounts.
    pub people: PathBuf,
    /// For how long a session holds without a request.
    pub idle: Duration,
    /// The language of the page, as a tag such as `en` or `de`.
    pub language: String,
    /// The certificate; nothing where the page is served without TLS.
    pub tls: Option<Tls>,
}

/// The certificate that the page is served with.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Tls {
    /// The certificate, and those that it was issued by, as PEM.
    pub certificate: PathBuf,
    /// Its private key, as PEM.
    pub key: PathBuf,
    /// Whether the two are made at the first start, where the settings name none.
    pub own: bool,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct PageTable {
    listen: Spanned<String>,
    #[serde(default)]
    names: Vec<Spanned<String>>,
    sign_in: Option<Spanned<bool>>,
    people: Option<PathBuf>,
    idle_minutes: Option<Spanned<u32>>,
    language: Option<String>,
    certificate: Option<Spanned<PathBuf>>,
    key: Option<Spanned<PathBuf>>,
}

impl Check<'_> {
    pub(super) fn page(&self, table: &PageTable, ledger: &Path) -> Result<Page, SettingsError> {
        let listen = table.listen.get_ref().parse::<SocketAddr>().map_err(|_| {
            self.at(table.listen.span(), "listen: expected an address and a port such as \"127.0.0.1:8765\"")
        })?;
        let local = listen.ip().is_loopback();
        let names = table.names.iter().map(|name| self.host_name(name)).collect::<Result<_, _>>()?;
        if let Some(sign_in) = table.sign_in.as_ref().filter(|sign_in| !*sign_in.get_ref() && !local) {
            return Err(self.at(
                sign_in.span(),
                "sign_in = false: beyond this computer people have to sign in; expected true, or listen = \"127.0.0.1:…\"",
            ));
        }
        let minutes = self.pick(&table.idle_minutes, 60, |minutes| match minutes {
            1..=1440 => Ok(*minutes),
            _ => Err("idle_minutes: expected 1 to 1440".to_owned()),
        })?;
        let tls = match (&table.certificate, &table.key) {
            (Some(certificate), Some(key)) => Some(Tls {
                certificate: self.folder.join(certificate.get_ref()),
                key: self.folder.join(key.get_ref()),
                own: false,
            }),
            (Some(alone), None) => {
                return Err(self.at(alone.span(), "certificate: expected its key = \"….pem\" too"));
            }
            (None, Some(alone)) => {
                return Err(self.at(alone.span(), "key: expected its certificate = \"….pem\" too"));
            }
            (None, None) if local => None,
            (None, None) => Some(Tls {
                certificate: beside(ledger, ".certificate.pem"),
                key: beside(ledger, ".key.pem"),
                own: true,
            }),
        };
        Ok(Page {
            listen,
            names,
            sign_in: table.sign_in.as_ref().is_none_or(|sign_in| *sign_in.get_ref()),
            people: self.folder.join(table.people.as_deref().unwrap_or(Path::new("people.toml"))),
            idle: Duration::from_secs(60 * u64::from(minutes)),
            language: table.language.clone().unwrap_or_else(|| "en".to_owned()),
            tls,
        })
    }

    fn host_name(&self, name: &Spanned<String>) -> Result<String, SettingsError> {
        let text = name.get_ref().to_ascii_lowercase();
        let fits = |c: char| c.is_ascii_alphanumeric() || c == '-' || c == '.';
        if text.is_empty() || text.len() > 253 || !text.chars().all(fits) {
            return Err(self.at(
                name.span(),
                "names: expected names of this computer such as \"bench-1.lab.example\", without port",
            ));
        }
        Ok(text)
    }
}
