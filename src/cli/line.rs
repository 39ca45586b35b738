//! The line settings of a port, as arguments.

use crate::station::settings::{Address, DataBits, Flow, Parity, PortSettings, StopBits};

#[derive(Debug, clap::Args)]
pub(super) struct LineArgs {
    /// Bits per second [9600, where another of these is given]
    #[arg(long, value_parser = clap::value_parser!(u32).range(50..=4_000_000))]
    baud: Option<u32>,
    /// 5, 6, 7 or 8 [8]
    #[arg(long, value_parser = |text: &str| number(text).and_then(|bits| DataBits::from_key(bits)))]
    data_bits: Option<DataBits>,
    /// none, odd or even [none]
    #[arg(long, value_parser = Parity::from_key)]
    parity: Option<Parity>,
    /// 1 or 2 [1]
    #[arg(long, value_parser = |text: &str| number(text).and_then(|bits| StopBits::from_key(bits)))]
    stop_bits: Option<StopBits>,
    /// none, software or hardware [none]
    #[arg(long, value_parser = Flow::from_key)]
    flow: Option<Flow>,
}

fn number(text: &str) -> Result<u8, String> {
    text.parse().map_err(|_| format!("{text:?} is not a number"))
}

impl LineArgs {
    /// Whether speed and format are left to be found.
    pub(super) fn is_open(&self) -> bool {
        self.baud.is_none() && self.data_bits.is_none() && self.parity.is_none() && self.stop_bits.is_none()
    }

    /// The settings of `port`, with defaults for what was not given.
    pub(super) fn of(&self, port: &Address) -> PortSettings {
        PortSettings {
            device: port.clone(),
            baud: self.baud.unwrap_or(9600),
            data_bits: self.data_bits.unwrap_or(DataBits::Eight),
            parity: self.parity.unwrap_or(Parity::None),
            stop_bits: self.stop_bits.unwrap_or(StopBits::One),
            flow: self.flow.unwrap_or(Flow::None),
        }
    }
}
