//! A tty of this computer. A lock on it keeps a second process off.

use super::marks::{Mark, Marks};
use super::settings::{Change, DataBits, Flow, Parity, PortSettings, Setting, StopBits};
use super::{Break, Heard, Held, Inputs, Levels, Wire, Work};
use rustix::fs::OFlags;
use rustix::termios::{InputModes, OptionalActions, tcdrain, tcgetattr, tcsendbreak, tcsetattr};
use serialport::{SerialPort, TTYPort};
use std::collections::VecDeque;
use std::fs::{File, OpenOptions};
use std::io;
use std::os::unix::fs::OpenOptionsExt;
use std::path::Path;
use std::task::{Context, Poll, ready};
use std::time::Duration;
use tokio::io::unix::AsyncFd;

/// How often the modem lines are looked at: a tty tells of no change.
const LOOK_EVERY: Duration = Duration::from_millis(20);

pub(super) struct Tty {
    /// What bytes pass through.
    io: AsyncFd<File>,
    /// The same tty, held with its lock: what settings and control lines are set through.
    port: TTYPort,
    /// Present where breaks are told apart.
    marks: Option<Marks>,
    settings: PortSettings,
    /// Whether it has modem lines, and is asked to tell of them.
    has_lines: bool,
    /// What they were at the last look.
    inputs: Option<Inputs>,
    buffer: Box<[u8]>,
}

impl Tty {
    pub(super) fn open(path: &Path, settings: &PortSettings, marks: bool) -> Result<Self, String> {
        // Before the lock: with it, nobody opens the tty a second time.
        let flags = OFlags::NOCTTY | OFlags::NONBLOCK;
        let io = OpenOptions::new().read(true).write(true).custom_flags(flags.bits() as i32).open(path);
        let io = io.map_err(|why| cannot_open(path, why.into()))?;
        let mut port = builder(path, settings).open_native().map_err(|why| cannot_open(path, why))?;
        if marks {
            mark_breaks(&io).map_err(|why| cannot_open(path, why.into()))?;
        }
        let has_lines = marks && inputs(&mut port).is_some();
        let io = watched(io).map_err(|why| cannot_open(path, why.into()))?;
        let marks = marks.then(Marks::default);
        Ok(Self {
            io,
            port,
            marks,
            settings: settings.clone(),
            has_lines,
            inputs: None,
            buffer: vec![0; 4096].into(),
        })
    }

    /// Whatever waits for the line to be empty, on a thread that may wait.
    fn hold<D>(
        &self,
        work: impl FnOnce(&File) -> D + Send + 'static,
        then: fn(D) -> Vec<Heard>,
    ) -> Option<Held>
    where
        D: Send + 'static,
    {
        let io = self.io.get_ref().try_clone().ok()?;
        Some(Box::pin(async move {
            // A panic in there would be a fault of the system's interface.
            tokio::task::spawn_blocking(move || work(&io)).await.map_or_else(|_| Vec::new(), then)
        }))
    }

    fn send_break(&mut self, what: Break) -> Option<Held> {
        match what {
            Break::Pulse => self.hold(
                |io| said("a break cannot be sent", tcsendbreak(io).map_err(io::Error::from)),
                |()| Vec::new(),
            ),
            // Beginning one waits for what is still to be sent.
            Break::On => {
                let port = self.port.try_clone_native().ok()?;
                self.hold(
                    move |_| said("a break cannot be begun", port.set_break().map_err(io::Error::from)),
                    |()| Vec::new(),
                )
            }
            Break::Off => {
                said("a break cannot be ended", self.port.clear_break().map_err(io::Error::from));
                None
            }
        }
    }

    fn set_levels(&mut self, levels: Levels) {
        let dtr = levels.dtr.map(|level| ("DTR", self.port.write_data_terminal_ready(level)));
        // With hardware flow control RTS is the system's.
        let by_system = matches!(self.port.flow_control(), Ok(serialport::FlowControl::Hardware));
        let rts = levels.rts.filter(|_| !by_system);
        let rts = rts.map(|level| ("RTS", self.port.write_request_to_send(level)));
        for (line, set) in [dtr, rts].into_iter().flatten() {
            if let Err(why) = set {
                let device = self.settings.device.to_string();
                tracing::warn!(device, line, %why, "a line is to be set that this port does not have");
            }
        }
    }

    /// Sets the line once what was to be sent is sent, and says how it is then.
    fn change(&mut self, change: Change) -> Option<Held> {
        let opened_with = self.settings.get(change.setting());
        let mut port = self.port.try_clone_native().ok()?;
        let marks = self.marks.is_some();
        self.hold(
            move |io| {
                let set = tcdrain(io)
                    .map_err(io::Error::from)
                    .and_then(|()| set(&mut port, change).map_err(io::Error::from))
                    .and_then(|()| if marks { mark_breaks(io) } else { Ok(()) });
                if let Err(why) = &set {
                    tracing::warn!(%change, %why, "the port cannot be set so");
                }
                // Some take what they cannot do without a word: it is looked at.
                is(&port, change.setting()).unwrap_or(if set.is_ok() { change } else { opened_with })
            },
            |has| vec![Heard::Has(has)],
        )
    }
}

fn said(what: &str, done: io::Result<()>) {
    if let Err(why) = done {
        tracing::warn!(%why, "{what}");
    }
}

impl Wire for Tty {
    fn poll_read(&mut self, cx: &mut Context<'_>, heard: &mut VecDeque<Heard>) -> Poll<io::Result<()>> {
        let count = ready!(read(&self.io, cx, &mut self.buffer))?;
        if count == 0 {
            return Poll::Ready(Err(io::ErrorKind::UnexpectedEof.into()));
        }
        let bytes = &self.buffer[..count];
        let Some(marks) = &mut self.marks else {
            heard.push_back(Heard::Bytes(bytes.to_vec()));
            return Poll::Ready(Ok(()));
        };
        let mut taken = Vec::with_capacity(count);
        for mark in bytes.iter().filter_map(|byte| marks.take(*byte)) {
            match mark {
                Mark::Byte(byte) => taken.push(byte),
                Mark::Break => {
                    let before = std::mem::take(&mut taken);
                    heard.extend((!before.is_empty()).then_some(Heard::Bytes(before)));
                    heard.push_back(Heard::Break(Break::Pulse));
                }
            }
        }
        heard.extend((!taken.is_empty()).then_some(Heard::Bytes(taken)));
        Poll::Ready(Ok(()))
    }

    fn poll_write(&mut self, cx: &mut Context<'_>, bytes: &[u8]) -> Poll<io::Result<usize>> {
        write(&self.io, cx, bytes)
    }

    fn work(&mut self, work: Work) -> Option<Held> {
        match work {
            Work::Break(what) => self.send_break(what),
            Work::Cross(inputs) => {
                if self.has_lines {
                    self.set_levels(Levels::crossed(inputs));
                }
                None
            }
            Work::Levels(levels) => {
                self.set_levels(levels);
                None
            }
            Work::Change(change) => self.change(change),
            // A tty has nobody to tell.
            Work::Tell(_) => None,
        }
    }

    fn every(&self) -> Option<Duration> {
        self.has_lines.then_some(LOOK_EVERY)
    }

    fn tick(&mut self, heard: &mut VecDeque<Heard>) {
        // A port that cannot be asked any more is about to be found lost.
        if let Some(now) = inputs(&mut self.port)
            && self.inputs.replace(now) != Some(now)
        {
            heard.push_back(Heard::Inputs(now));
        }
    }
}

/// A file that does not block, watched for what it is ready for.
#[expect(
    deprecated,
    reason = "sound for what keeps one descriptor, as a file does; the other way is unsafe code"
)]
pub(in crate::station) fn watched(file: File) -> io::Result<AsyncFd<File>> {
    AsyncFd::new(file)
}

/// Reads from a file that does not block.
pub(in crate::station) fn read(
    io: &AsyncFd<File>,
    cx: &mut Context<'_>,
    buffer: &mut [u8],
) -> Poll<io::Result<usize>> {
    loop {
        let mut guard = ready!(io.poll_read_ready(cx))?;
        match guard.try_io(|io| io::Read::read(&mut io.get_ref(), buffer)) {
            Ok(Err(why)) if why.kind() == io::ErrorKind::Interrupted => {}
            Ok(read) => return Poll::Ready(read),
            Err(_would_block) => {}
        }
    }
}

/// Writes to a file that does not block.
pub(in crate::station) fn write(
    io: &AsyncFd<File>,
    cx: &mut Context<'_>,
    bytes: &[u8],
) -> Poll<io::Result<usize>> {
    loop {
        let mut guard = ready!(io.poll_write_ready(cx))?;
        match guard.try_io(|io| io::Write::write(&mut io.get_ref(), bytes)) {
            Ok(Err(why)) if why.kind() == io::ErrorKind::Interrupted => {}
            Ok(written) => return Poll::Ready(written),
            Err(_would_block) => {}
        }
    }
}

fn inputs(port: &mut TTYPort) -> Option<Inputs> {
    Some(Inputs {
        cts: port.read_clear_to_send().ok()?,
        dsr: port.read_data_set_ready().ok()?,
        dcd: port.read_carrier_detect().ok()?,
        ri: port.read_ring_indicator().ok()?,
    })
}

/// Has breaks marked in what is read. Parity is not looked at: each byte passes as it came.
fn mark_breaks(io: &File) -> io::Result<()> {
    let mut termios = tcgetattr(io)?;
    termios
        .input_modes
        .remove(InputModes::IGNBRK | InputModes::BRKINT | InputModes::IGNPAR | InputModes::INPCK);
    termios.input_modes.insert(InputModes::PARMRK);
    Ok(tcsetattr(io, OptionalActions::Now, &termios)?)
}

fn builder(path: &Path, settings: &PortSettings) -> serialport::SerialPortBuilder {
    serialport::new(path.to_string_lossy(), settings.baud)
        .data_bits(data_bits(settings.data_bits))
        .parity(parity(settings.parity))
        .stop_bits(stop_bits(settings.stop_bits))
        .flow_control(flow(settings.flow))
}

fn set(port: &mut TTYPort, change: Change) -> serialport::Result<()> {
    match change {
        Change::Baud(baud) => port.set_baud_rate(baud),
        Change::DataBits(bits) => port.set_data_bits(data_bits(bits)),
        Change::Parity(is) => port.set_parity(parity(is)),
        Change::StopBits(bits) => port.set_stop_bits(stop_bits(bits)),
        Change::Flow(is) => port.set_flow_control(flow(is)),
    }
}

/// How a tty is set; nothing where it does not say, or is set as none of the settings here.
fn is(port: &TTYPort, setting: Setting) -> Option<Change> {
    Some(match setting {
        Setting::Baud => Change::Baud(port.baud_rate().ok()?),
        Setting::DataBits => Change::DataBits(DataBits::from_key(port.data_bits().ok()?.into()).ok()?),
        Setting::Parity => Change::Parity(match port.parity().ok()? {
            serialport::Parity::None => Parity::None,
            serialport::Parity::Odd => Parity::Odd,
            serialport::Parity::Even => Parity::Even,
        }),
        Setting::StopBits => Change::StopBits(StopBits::from_key(port.stop_bits().ok()?.into()).ok()?),
        Setting::Flow => Change::Flow(match port.flow_control().ok()? {
            serialport::FlowControl::None => Flow::None,
            serialport::FlowControl::Software => Flow::Software,
            serialport::FlowControl::Hardware => Flow::Hardware,
        }),
    })
}

fn data_bits(bits: DataBits) -> serialport::DataBits {
    match bits {
        DataBits::Five => serialport::DataBits::Five,
        DataBits::Six => serialport::DataBits::Six,
        DataBits::Seven => serialport::DataBits::Seven,
        DataBits::Eight => serialport::DataBits::Eight,
    }
}

fn parity(parity: Parity) -> serialport::Parity {
    match parity {
        Parity::None => serialport::Parity::None,
        Parity::Odd => serialport::Parity::Odd,
        Parity::Even => serialport::Parity::Even,
    }
}

fn stop_bits(bits: StopBits) -> serialport::StopBits {
    match bits {
        StopBits::One => serialport::StopBits::One,
        StopBits::Two => serialport::StopBits::Two,
    }
}

fn flow(flow: Flow) -> serialport::FlowControl {
    match flow {
        Flow::None => serialport::FlowControl::None,
        Flow::Software => serialport::FlowControl::Software,
        Flow::Hardware => serialport::FlowControl::Hardware,
    }
}

fn cannot_open(device: &Path, why: serialport::Error) -> String {
    use serialport::ErrorKind::{Io, NoDevice};
    use std::io::ErrorKind;
    match why.kind {
        // What is there and still counts as no device is held by somebody else.
        NoDevice | Io(ErrorKind::ResourceBusy) if device.exists() => {
            "another program has this port open: close it, or give this station another port".to_owned()
        }
        NoDevice | Io(ErrorKind::NotFound) => "no such device: is the adapter plugged in?".to_owned(),
        Io(ErrorKind::PermissionDenied) => format!(
            "no permission to open {}: add the user to the group that owns it (often `dialout`)",
            device.display()
        ),
        _ => format!("cannot be opened: {why}"),
    }
}
