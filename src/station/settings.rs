//! `station.toml`: what there is at a station, and how it is set up.
//!
//! Every key is shown in `contrib/station.example.toml`. Relative paths are taken from the
//! folder that the settings file lies in.

pub mod feed;
mod host;
mod page;
pub mod printer;

pub use super::line::{Address, DataBits, Flow, Parity, PortSettings, StopBits};
pub use feed::Feed;
pub use host::Host;
pub use page::{Page, Tls};

use super::passing::host_name;
use crate::check::Limits;
use crate::judge::RuleSet;
use crate::judge::verdict::Hold;
use crate::parsers::layout::Layout;
use crate::parsers::reader::Reader;
use crate::parsers::reading::JobNumber;
use serde::Deserialize;
use std::collections::HashMap;
use std::ops::Range;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use toml::Spanned;

/// Why settings cannot be used: one message that names the file, the line and what is expected.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{0}")]
pub struct SettingsError(pub String);

/// A station, ready to run.
#[derive(Debug, Clone)]
pub struct Settings {
    /// The settings file's name, for people.
    pub origin: String,
    /// The whole text.
    pub text: String,
    /// The station's name.
    pub name: String,
    /// Where its ledger lies.
    pub ledger: PathBuf,
    /// The rule set in force.
    pub rules: RuleSet,
    /// For how long a scanned job holds without a measurement.
    pub job_hold: jiff::SignedDuration,
    /// Where order files are dropped.
    pub orders: Option<PathBuf>,
    /// How the page is served; nothing where it is not.
    pub page: Option<Page>,
    /// How instruments are checked.
    pub checks: Checks,
    /// The instruments.
    pub instruments: Vec<Instrument>,
    /// The barcode readers.
    pub scanners: Vec<Scanner>,
    /// Who else gets what is committed, printers included.
    pub feeds: Vec<Feed>,
}

/// How instruments are checked against reference lenses.
#[derive(Debug, Clone)]
pub struct Checks {
    /// When verdicts are held back; nothing where they never are.
    pub hold: Option<Hold>,
    /// The limits of checks and cross-checks.
    pub limits: Limits,
}

/// An instrument on a port.
#[derive(Debug, Clone)]
pub struct Instrument {
    /// Its name.
    pub name: String,
    /// Its port.
    pub port: PortSettings,
    /// What reads its frames.
    pub reader: Reader,
    /// The host that it goes on talking to, where there is one.
    pub host: Option<Host>,
}

/// A barcode reader that sends what it reads as a line.
#[derive(Debug, Clone)]
pub struct Scanner {
    /// Its name.
    pub name: String,
    /// Its port.
    pub port: PortSettings,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct File {
    station: StationTable,
    #[serde(default)]
    page: Option<page::PageTable>,
    #[serde(default)]
    orders: Option<OrdersTable>,
    #[serde(default)]
    checks: ChecksTable,
    #[serde(default)]
    instrument: Vec<DeviceTable>,
    #[serde(default)]
    scanner: Vec<DeviceTable>,
    #[serde(default)]
    feed: Vec<feed::FeedTable>,
    #[serde(default)]
    printer: Vec<printer::PrinterTable>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct StationTable {
    name: Spanned<String>,
    ledger: PathBuf,
    rules: Spanned<String>,
    #[serde(default)]
    job_hold_minutes: Option<Spanned<i64>>,
}

#[derive(Default, Deserialize)]
#[serde(deny_unknown_fields)]
struct ChecksTable {
    #[serde(default)]
    hold: bool,
    every_hours: Option<Spanned<u32>>,
    #[serde(default)]
    lenses: Vec<Spanned<String>>,
    limits: Option<Spanned<String>>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct OrdersTable {
    folder: PathBuf,
}

/// An instrument or a scanner: one table for both, so that a line's settings are written once.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct DeviceTable {
    name: Spanned<String>,
    port: Spanned<String>,
    layout: Option<Spanned<Names>>,
    baud: Option<Spanned<u32>>,
    data_bits: Option<Spanned<u8>>,
    parity: Option<Spanned<String>>,
    stop_bits: Option<Spanned<u8>>,
    flow: Option<Spanned<String>>,
    host: Option<Spanned<host::HostTable>>,
}

/// The keys of a line, wherever they stand.
struct LineKeys<'a> {
    baud: &'a Option<Spanned<u32>>,
    data_bits: &'a Option<Spanned<u8>>,
    parity: &'a Option<Spanned<String>>,
    stop_bits: &'a Option<Spanned<u8>>,
    flow: &'a Option<Spanned<String>>,
}

impl LineKeys<'_> {
    /// Where the first of them stands, if there is any.
    fn first(&self) -> Option<Range<usize>> {
        let spans = [
            self.baud.as_ref().map(Spanned::span),
            self.data_bits.as_ref().map(Spanned::span),
            self.parity.as_ref().map(Spanned::span),
            self.stop_bits.as_ref().map(Spanned::span),
            self.flow.as_ref().map(Spanned::span),
        ];
        spans.into_iter().flatten().min_by_key(|span| span.start)
    }
}

macro_rules! line_keys {
    ($table:ty) => {
        impl $table {
            fn line(&self) -> LineKeys<'_> {
                let Self { baud, data_bits, parity, stop_bits, flow, .. } = self;
                LineKeys { baud, data_bits, parity, stop_bits, flow }
            }
        }
    };
}
use line_keys;
line_keys!(DeviceTable);

/// A name, or several in a list, each with its place.
struct Names(Vec<(String, Option<Range<usize>>)>);

impl<'de> Deserialize<'de> for Names {
    fn deserialize<D: serde::Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        struct OneOrSeveral;
        impl<'de> serde::de::Visitor<'de> for OneOrSeveral {
            type Value = Names;
            fn expecting(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
                f.write_str("a layout's name, or a list of them")
            }
            fn visit_str<E>(self, name: &str) -> Result<Names, E> {
                Ok(Names(vec![(name.to_owned(), None)]))
            }
            fn visit_seq<A: serde::de::SeqAccess<'de>>(self, mut list: A) -> Result<Names, A::Error> {
                let mut names = Vec::new();
                while let Some(name) = list.next_element::<Spanned<String>>()? {
                    let span = name.span();
                    names.push((name.into_inner(), Some(span)));
                }
                Ok(Names(names))
            }
        }
        deserializer.deserialize_any(OneOrSeveral)
    }
}

impl Settings {
    /// Reads the settings file at `path`, and every layout and rule set that it names.
    ///
    /// # Errors
    /// One message with file, line and what was expected; nothing is half applied.
    pub fn load(path: &Path) -> Result<Self, SettingsError> {
        let origin = path.display().to_string();
        let text = read(path).map_err(|why| SettingsError(format!("{origin}: {why}")))?;
        Check { origin: &origin, text: &text, folder: path.parent().unwrap_or(Path::new("")) }.settings()
    }
}

struct Check<'a> {
    origin: &'a str,
    text: &'a str,
    folder: &'a Path,
}

impl Check<'_> {
    fn settings(&self) -> Result<Settings, SettingsError> {
        let file: File = toml::from_str(self.text)
            .map_err(|error| self.at(error.span().unwrap_or(0..0), error.message()))?;
        let station = &file.station;
        if station.name.get_ref().trim().is_empty() {
            return Err(self.at(station.name.span(), "name is empty: expected the name of the bench"));
        }
        let job_hold = match &station.job_hold_minutes {
            None => 10,
            Some(minutes) if (1..=24 * 60).contains(minutes.get_ref()) => *minutes.get_ref(),
            Some(minutes) => {
                return Err(self.at(minutes.span(), "job_hold_minutes: expected 1 to 1440"));
            }
        };
        let ledger = self.folder.join(&station.ledger);
        let page = file.page.as_ref().map(|page| self.page(page, &ledger)).transpose()?;
        let instruments =
            file.instrument.iter().map(|table| self.instrument(table)).collect::<Result<_, _>>()?;
        let scanners = file.scanner.iter().map(|table| self.scanner(table)).collect::<Result<_, _>>()?;
        let feeds = file.feed.iter().map(|table| self.feed(table));
        let printers = file.printer.iter().map(|table| self.printer(table));
        let settings = Settings {
            origin: self.origin.to_owned(),
            text: self.text.to_owned(),
            name: station.name.get_ref().trim().to_owned(),
            ledger,
            rules: self.rules(&station.rules)?,
            job_hold: jiff::SignedDuration::from_mins(job_hold),
            orders: file.orders.as_ref().map(|orders| self.folder.join(&orders.folder)),
            page,
            checks: self.checks(&file.checks)?,
            instruments,
            scanners,
            feeds: feeds.chain(printers).collect::<Result<_, _>>()?,
        };
        self.no_duplicates(&file)?;
        Ok(settings)
    }

    fn rules(&self, name: &Spanned<String>) -> Result<RuleSet, SettingsError> {
        rules(name.get_ref(), self.folder).map_err(|why| self.at(name.span(), &why))
    }

    fn checks(&self, table: &ChecksTable) -> Result<Checks, SettingsError> {
        let every_hours = self.pick(&table.every_hours, 24, |hours| match hours {
            1..=8784 => Ok(*hours),
            _ => Err(format!("every_hours = {hours}: expected 1 to 8784")),
        })?;
        let name = |name: &Spanned<String>| {
            name.get_ref().parse().map_err(|_| {
                self.at(name.span(), "lenses: expected names of reference lenses, as on their barcodes")
            })
        };
        let lenses = table.lenses.iter().map(name).collect::<Result<Vec<JobNumber>, _>>()?;
        let limits = match &table.limits {
            None => Limits::default(),
            Some(name) => limits(name.get_ref(), self.folder).map_err(|why| self.at(name.span(), &why))?,
        };
        Ok(Checks { hold: table.hold.then_some(Hold { every_hours, lenses }), limits })
    }

    fn instrument(&self, table: &DeviceTable) -> Result<Instrument, SettingsError> {
        let Some(layout) = &table.layout else {
            return Err(
                self.at(table.name.span(), "this instrument has no layout: expected layout = \"...\"")
            );
        };
        let port = self.port(table)?;
        Ok(Instrument {
            name: self.name(&table.name)?,
            host: table.host.as_ref().map(|host| self.host(host, table, &port)).transpose()?,
            reader: self.reader(layout)?,
            port,
        })
    }

    fn reader(&self, names: &Spanned<Names>) -> Result<Reader, SettingsError> {
        let one = |(name, at): &(String, Option<Range<usize>>)| {
            let at = at.clone().unwrap_or(names.span());
            reader(name, self.folder).map_err(|why| self.at(at, &why))
        };
        let readers = names.get_ref().0.iter().map(one).collect::<Result<Vec<Reader>, _>>()?;
        Reader::any_of(readers).map_err(|why| self.at(names.span(), &why.to_string()))
    }

    fn scanner(&self, table: &DeviceTable) -> Result<Scanner, SettingsError> {
        if let Some(layout) = &table.layout {
            return Err(self.at(layout.span(), "a scanner has no layout: it sends the job number as a line"));
        }
        if let Some(host) = &table.host {
            return Err(self.at(host.span(), "a scanner has no host: it is read here alone"));
        }
        Ok(Scanner { name: self.name(&table.name)?, port: self.port(table)? })
    }

    fn name(&self, name: &Spanned<String>) -> Result<String, SettingsError> {
        let trimmed = name.get_ref().trim();
        if trimmed.is_empty() || trimmed.chars().any(char::is_control) {
            return Err(self.at(name.span(), "name: expected a name without control characters"));
        }
        Ok(trimmed.to_owned())
    }

    fn port(&self, table: &DeviceTable) -> Result<PortSettings, SettingsError> {
        self.line(&table.port, &table.line(), None)
    }

    /// A port with its line keys; those left out are as in `default`.
    fn line(
        &self,
        port: &Spanned<String>,
        keys: &LineKeys,
        default: Option<&PortSettings>,
    ) -> Result<PortSettings, SettingsError> {
        let device: Address =
            port.get_ref().parse().map_err(|why| self.at(port.span(), &format!("port: {why}")))?;
        if let (Address::Tcp(_), Some(span)) = (&device, keys.first()) {
            return Err(self.at(
                span,
                "a tcp:// port passes bytes and no line settings: leave this out, or give the port as rfc2217://",
            ));
        }
        let default = default.cloned().unwrap_or(PortSettings {
            device: device.clone(),
            baud: 9600,
            data_bits: DataBits::Eight,
            parity: Parity::None,
            stop_bits: StopBits::One,
            flow: Flow::None,
        });
        Ok(PortSettings {
            device,
            baud: self.pick(keys.baud, default.baud, |baud| match baud {
                50..=4_000_000 => Ok(*baud),
                _ => Err(format!("baud = {baud}: expected 50 to 4000000 bits per second")),
            })?,
            data_bits: self.pick(keys.data_bits, default.data_bits, |bits| DataBits::from_key(*bits))?,
            parity: self.pick(keys.parity, default.parity, |text| Parity::from_key(text))?,
            stop_bits: self.pick(keys.stop_bits, default.stop_bits, |bits| StopBits::from_key(*bits))?,
            flow: self.pick(keys.flow, default.flow, |text| Flow::from_key(text))?,
        })
    }

    fn pick<R, V>(
        &self,
        value: &Option<Spanned<R>>,
        default: V,
        from: impl Fn(&R) -> Result<V, String>,
    ) -> Result<V, SettingsError> {
        match value {
            None => Ok(default),
            Some(value) => from(value.get_ref()).map_err(|why| self.at(value.span(), &why)),
        }
    }

    fn no_duplicates(&self, file: &File) -> Result<(), SettingsError> {
        let devices = || file.instrument.iter().chain(&file.scanner);
        let names = devices()
            .map(|table| &table.name)
            .chain(file.feed.iter().map(|feed| &feed.name))
            .chain(file.printer.iter().map(|printer| &printer.name));
        let names = names.map(|name| ("name", name.get_ref().trim().to_owned(), name.span()));
        let ports = devices().map(|table| ("port", table.port.get_ref().clone(), table.port.span()));
        let mut seen: HashMap<(&'static str, String), Range<usize>> = HashMap::new();
        let host_names = devices().filter_map(|table| {
            let host = table.host.as_ref()?;
            Some(("name", host_name(table.name.get_ref().trim()), host.span()))
        });
        let hosts =
            devices().filter_map(|table| table.host.as_ref()).flat_map(|host| host.get_ref().claims());
        let feeds = file.feed.iter().filter_map(|feed| feed.at.as_ref());
        let feeds = feeds.map(|at| ("at", at.get_ref().clone(), at.span()));
        for (key, value, span) in names.chain(ports).chain(host_names).chain(hosts).chain(feeds) {
            if let Some(first) = seen.get(&(key, value.clone())) {
                let line = line_of(self.text, first.start);
                return Err(self.at(
                    span,
                    &format!("{key} {value:?} is used on line {line} already: each needs its own"),
                ));
            }
            seen.insert((key, value), span);
        }
        Ok(())
    }

    fn at(&self, span: Range<usize>, message: &str) -> SettingsError {
        SettingsError(format!("{}:{}: {}", self.origin, line_of(self.text, span.start), message.trim()))
    }
}

fn line_of(text: &str, at: usize) -> usize {
    text.as_bytes()[..at.min(text.len())].iter().filter(|byte| **byte == b'\n').count() + 1
}

fn read(path: &Path) -> Result<String, String> {
    std::fs::read_to_string(path).map_err(|why| format!("cannot be read: {why}"))
}

fn is_path(name: &str) -> bool {
    name.contains('/') || name.ends_with(".toml")
}

/// The built-in rule set of this name, or the lab's own at this path, taken from `folder`.
///
/// # Errors
/// What is wrong, where, and what was expected.
pub fn rules(name: &str, folder: &Path) -> Result<RuleSet, String> {
    if is_path(name) {
        let path = folder.join(name);
        let origin = path.display().to_string();
        let text = read(&path).map_err(|why| format!("rule set {origin} {why}"))?;
        return RuleSet::from_toml(&text, &origin).map_err(|why| why.to_string());
    }
    RuleSet::built_in(name).ok_or_else(|| {
        let known: Vec<&str> = RuleSet::built_in_names().collect();
        format!("no rule set is called {name:?}: expected {}, or the path of a .toml file", known.join(", "))
    })
}

/// The built-in limits of this name, or the lab's own at this path, taken from `folder`.
///
/// # Errors
/// What is wrong, where, and what was expected.
pub fn limits(name: &str, folder: &Path) -> Result<Limits, String> {
    if is_path(name) {
        let path = folder.join(name);
        let origin = path.display().to_string();
        let text = read(&path).map_err(|why| format!("limits {origin} {why}"))?;
        return Limits::from_toml(&text, &origin).map_err(|why| why.to_string());
    }
    Limits::built_in(name).ok_or_else(|| {
        let known: Vec<&str> = Limits::built_in_names().collect();
        format!("no limits are called {name:?}: expected {}, or the path of a .toml file", known.join(", "))
    })
}

/// The built-in layout or parser of this name, or the lab's own layout at this path, taken from
/// `folder`.
///
/// # Errors
/// What is wrong, where, and what was expected.
pub fn reader(name: &str, folder: &Path) -> Result<Reader, String> {
    if is_path(name) {
        let path = folder.join(name);
        let origin = path.display().to_string();
        let text = read(&path).map_err(|why| format!("layout {origin} {why}"))?;
        return Layout::from_toml(&text, &origin)
            .map(|layout| Reader::Layout(Arc::new(layout)))
            .map_err(|why| why.to_string());
    }
    Reader::named(name).ok_or_else(|| {
        let known: Vec<String> = Reader::all().iter().map(|reader| reader.name().to_owned()).collect();
        format!("no layout is called {name:?}: expected {}, or the path of a .toml file", known.join(", "))
    })
}
