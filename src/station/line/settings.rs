//! A line's settings, and one of them at a time.

use super::address::Address;
use std::fmt;

/// Where a port is, and its line settings.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PortSettings {
    /// Where it is.
    pub device: Address,
    /// Bits per second.
    pub baud: u32,
    /// 5 to 8.
    pub data_bits: DataBits,
    /// Parity.
    pub parity: Parity,
    /// 1 or 2.
    pub stop_bits: StopBits,
    /// Flow control.
    pub flow: Flow,
}

macro_rules! choice {
    ($(#[$doc:meta])* $name:ident = $key:literal : $raw:ty { $($text:literal => $variant:ident),* $(,)? }) => {
        $(#[$doc])*
        #[derive(Debug, Clone, Copy, PartialEq, Eq)]
        #[allow(missing_docs, reason = "the variants say what they are")]
        pub enum $name { $($variant),* }

        impl $name {
            /// The one that is written so in settings.
            ///
            /// # Errors
            /// Names what can be written.
            pub fn from_key(value: $raw) -> Result<Self, String> {
                $(if value == $text { return Ok(Self::$variant); })*
                let known: Vec<String> = vec![$(format!("{:?}", $text)),*];
                Err(format!("{} = {value:?}: expected one of {}", $key, known.join(", ")))
            }
        }

        impl fmt::Display for $name {
            /// As in settings.
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                match self {
                    $(Self::$variant => write!(f, "{} = {:?}", $key, $text),)*
                }
            }
        }
    };
}

choice!(
    /// Data bits of a character.
    DataBits = "data_bits": u8 { 5 => Five, 6 => Six, 7 => Seven, 8 => Eight }
);
choice!(
    /// Parity of a character.
    Parity = "parity": &str { "none" => None, "odd" => Odd, "even" => Even }
);
choice!(
    /// Stop bits of a character.
    StopBits = "stop_bits": u8 { 1 => One, 2 => Two }
);
choice!(
    /// Flow control of a line.
    Flow = "flow": &str { "none" => None, "software" => Software, "hardware" => Hardware }
);

/// One of a line's settings.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[allow(missing_docs, reason = "the variants say what they are")]
pub enum Setting {
    Baud,
    DataBits,
    Parity,
    StopBits,
    Flow,
}

impl Setting {
    /// Every one of them.
    pub const ALL: [Self; 5] = [Self::Baud, Self::DataBits, Self::Parity, Self::StopBits, Self::Flow];
}

/// One of a line's settings and what it is to be, or is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Change {
    /// Bits per second.
    Baud(u32),
    /// Data bits.
    DataBits(DataBits),
    /// Parity.
    Parity(Parity),
    /// Stop bits.
    StopBits(StopBits),
    /// Flow control.
    Flow(Flow),
}

impl Change {
    /// Which setting it is.
    pub fn setting(self) -> Setting {
        match self {
            Self::Baud(_) => Setting::Baud,
            Self::DataBits(_) => Setting::DataBits,
            Self::Parity(_) => Setting::Parity,
            Self::StopBits(_) => Setting::StopBits,
            Self::Flow(_) => Setting::Flow,
        }
    }
}

impl fmt::Display for Change {
    /// As in settings: `baud = 9600`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Baud(baud) => write!(f, "baud = {baud}"),
            Self::DataBits(bits) => bits.fmt(f),
            Self::Parity(parity) => parity.fmt(f),
            Self::StopBits(bits) => bits.fmt(f),
            Self::Flow(flow) => flow.fmt(f),
        }
    }
}

impl PortSettings {
    /// One of the settings.
    pub fn get(&self, setting: Setting) -> Change {
        match setting {
            Setting::Baud => Change::Baud(self.baud),
            Setting::DataBits => Change::DataBits(self.data_bits),
            Setting::Parity => Change::Parity(self.parity),
            Setting::StopBits => Change::StopBits(self.stop_bits),
            Setting::Flow => Change::Flow(self.flow),
        }
    }

    /// Sets one of the settings.
    pub fn set(&mut self, change: Change) {
        match change {
            Change::Baud(baud) => self.baud = baud,
            Change::DataBits(bits) => self.data_bits = bits,
            Change::Parity(parity) => self.parity = parity,
            Change::StopBits(bits) => self.stop_bits = bits,
            Change::Flow(flow) => self.flow = flow,
        }
    }
}
