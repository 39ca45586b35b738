//! One tty, kept open: opened with its settings and a lock, read and answered until it is lost,
//! opened again.

use super::settings::{DataBits, Flow, Parity, PortSettings, StopBits};
use crate::bench::entry::{PortEntry, PortState};
use std::path::Path;
use std::pin::Pin;
use std::time::Duration;
use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::time::Instant;
use tokio_serial::{SerialPort, SerialPortBuilderExt, SerialStream};

/// The pause before the first try to open a lost port again; it doubles up to [`LAST_PAUSE`].
const FIRST_PAUSE: Duration = Duration::from_millis(250);
const LAST_PAUSE: Duration = Duration::from_secs(5);

/// What a port has to say.
#[derive(Debug)]
pub enum Heard<'a> {
    /// It was opened, lost, or could not be opened.
    State(PortEntry),
    /// These bytes came in.
    Bytes(&'a [u8]),
    /// The time that was asked for has come.
    Woken,
}

/// Takes what a port has to say, and answers.
pub trait Listener {
    /// When to be woken, if no byte comes before.
    fn wake_at(&self) -> Option<Instant>;
    /// Takes it, and gives the bytes to send in return; completes when there is room for more.
    fn hear(&mut self, heard: Heard<'_>) -> impl Future<Output = Vec<u8>> + Send;
    /// The levels that the DTR and RTS lines are to have, where they matter.
    fn levels(&self) -> Levels {
        Levels::default()
    }
}

/// Levels of the lines beside the data lines; what is absent is left as it is.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Levels {
    /// Data terminal ready.
    pub dtr: Option<bool>,
    /// Request to send.
    pub rts: Option<bool>,
}

/// Keeps the port called `name` open until `shutdown` completes.
pub async fn keep_open(
    name: &str,
    settings: &PortSettings,
    listener: &mut impl Listener,
    shutdown: impl Future<Output = ()>,
) {
    let mut shutdown = std::pin::pin!(shutdown);
    let entry = |state, why| {
        Heard::State(PortEntry {
            name: name.to_owned(),
            device: settings.device.display().to_string(),
            state,
            why,
        })
    };
    let mut pause = FIRST_PAUSE;
    let mut last_failure = None;
    loop {
        match open(settings) {
            Ok(mut stream) => {
                pause = FIRST_PAUSE;
                last_failure = None;
                set(&mut stream, name, listener.levels());
                let greeting = listener.hear(entry(PortState::Opened, None)).await;
                // What is answered to the end of a port has nowhere to go.
                match converse(&mut stream, listener, greeting, shutdown.as_mut()).await {
                    Some(why) => drop(listener.hear(entry(PortState::Lost, Some(why))).await),
                    None => {
                        drain(&mut stream, listener).await;
                        drop(listener.hear(entry(PortState::Closed, None)).await);
                        return;
                    }
                }
            }
            Err(why) => {
                // Said once for each reason, not at every try.
                if last_failure.as_ref() != Some(&why) {
                    drop(listener.hear(entry(PortState::Unavailable, Some(why.clone()))).await);
                    last_failure = Some(why);
                }
            }
        }
        tokio::select! {
            () = tokio::time::sleep(pause) => pause = (pause * 2).min(LAST_PAUSE),
            () = &mut shutdown => return,
        }
    }
}

/// Reads and answers until the port is lost, and says why it was; nothing when it was shut down.
/// Only the wait for bytes is cut short by `shutdown`: bytes that were read are always handed on.
async fn converse(
    stream: &mut SerialStream,
    listener: &mut impl Listener,
    greeting: Vec<u8>,
    mut shutdown: Pin<&mut impl Future<Output = ()>>,
) -> Option<String> {
    let gone = |why: std::io::Error| Some(format!("the device is gone ({why})"));
    let mut buffer = vec![0; 4096];
    let mut answer = greeting;
    loop {
        if !answer.is_empty() {
            tokio::select! {
                sent = stream.write_all(&answer) => if let Err(why) = sent {
                    return gone(why);
                },
                // An instrument that takes nothing must not hold up the end.
                () = &mut shutdown => return None,
            }
        }
        let wake = async {
            match listener.wake_at() {
                Some(at) => tokio::time::sleep_until(at).await,
                None => std::future::pending().await,
            }
        };
        let read = tokio::select! {
            read = stream.read(&mut buffer) => read,
            () = wake => {
                answer = listener.hear(Heard::Woken).await;
                continue;
            }
            () = &mut shutdown => return None,
        };
        answer = match read {
            Ok(0) => return Some("the device is gone".to_owned()),
            Ok(count) => listener.hear(Heard::Bytes(&buffer[..count])).await,
            Err(why) => return gone(why),
        };
    }
}

/// Takes what the operating system holds already, so that nothing that arrived is lost at shutdown.
async fn drain(stream: &mut SerialStream, listener: &mut impl Listener) {
    let mut buffer = vec![0; 4096];
    while let Ok(count @ 1..) = stream.try_read(&mut buffer) {
        let answer = listener.hear(Heard::Bytes(&buffer[..count])).await;
        // Best effort: the port closes next.
        let _ = stream.try_write(&answer);
    }
}

fn set(stream: &mut SerialStream, name: &str, levels: Levels) {
    let dtr = levels.dtr.map(|level| ("DTR", stream.write_data_terminal_ready(level)));
    let rts = levels.rts.map(|level| ("RTS", stream.write_request_to_send(level)));
    for (line, set) in [dtr, rts].into_iter().flatten() {
        if let Err(why) = set {
            tracing::warn!(name, line, %why, "the layout sets a line that this port does not have");
        }
    }
}

/// Opens a tty with its settings; a lock on the device keeps a second process off it.
fn open(settings: &PortSettings) -> Result<SerialStream, String> {
    let device = &settings.device;
    tokio_serial::new(device.to_string_lossy(), settings.baud)
        .data_bits(match settings.data_bits {
            DataBits::Five => tokio_serial::DataBits::Five,
            DataBits::Six => tokio_serial::DataBits::Six,
            DataBits::Seven => tokio_serial::DataBits::Seven,
            DataBits::Eight => tokio_serial::DataBits::Eight,
        })
        .parity(match settings.parity {
            Parity::None => tokio_serial::Parity::None,
            Parity::Odd => tokio_serial::Parity::Odd,
            Parity::Even => tokio_serial::Parity::Even,
        })
        .stop_bits(match settings.stop_bits {
            StopBits::One => tokio_serial::StopBits::One,
            StopBits::Two => tokio_serial::StopBits::Two,
        })
        .flow_control(match settings.flow {
            Flow::None => tokio_serial::FlowControl::None,
            Flow::Software => tokio_serial::FlowControl::Software,
            Flow::Hardware => tokio_serial::FlowControl::Hardware,
        })
        .open_native_async()
        .map_err(|why| cannot_open(device, why))
}

fn cannot_open(device: &Path, why: tokio_serial::Error) -> String {
    use std::io::ErrorKind;
    use tokio_serial::ErrorKind::{Io, NoDevice};
    match why.kind {
        // What is there and still counts as no device is held by somebody else.
        NoDevice if device.exists() => {
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
