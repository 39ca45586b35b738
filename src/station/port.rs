//! One tty, kept open: opened with its settings and a lock, read until it is lost, opened again.

use super::settings::{DataBits, Flow, Parity, PortSettings, StopBits};
use crate::bench::entry::{PortEntry, PortState};
use std::path::Path;
use std::pin::Pin;
use std::time::Duration;
use tokio::io::AsyncReadExt;
use tokio_serial::{SerialPortBuilderExt, SerialStream};

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
    /// Nothing has come in for the idle time that was asked for.
    Idle,
}

/// Takes what a port has to say.
pub trait Listener {
    /// For how long the line must be silent, after the last byte, for [`Heard::Idle`].
    fn idle(&self) -> Option<Duration>;
    /// Takes it; completes when there is room for more.
    fn hear(&mut self, heard: Heard<'_>) -> impl Future<Output = ()> + Send;
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
                listener.hear(entry(PortState::Opened, None)).await;
                match read(&mut stream, listener, shutdown.as_mut()).await {
                    Some(why) => listener.hear(entry(PortState::Lost, Some(why))).await,
                    None => {
                        drain(&mut stream, listener).await;
                        listener.hear(entry(PortState::Closed, None)).await;
                        return;
                    }
                }
            }
            Err(why) => {
                // Said once for each reason, not at every try.
                if last_failure.as_ref() != Some(&why) {
                    listener.hear(entry(PortState::Unavailable, Some(why.clone()))).await;
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

/// Reads until the port is lost, and says why it was; nothing when it was shut down. Only the
/// wait for bytes is cut short by `shutdown`: bytes that were read are always handed on.
async fn read(
    stream: &mut SerialStream,
    listener: &mut impl Listener,
    mut shutdown: Pin<&mut impl Future<Output = ()>>,
) -> Option<String> {
    let mut buffer = vec![0; 4096];
    let mut silent = true;
    loop {
        let idle = async {
            match listener.idle().filter(|_| !silent) {
                Some(idle) => tokio::time::sleep(idle).await,
                None => std::future::pending().await,
            }
        };
        let read = tokio::select! {
            read = stream.read(&mut buffer) => read,
            () = idle => {
                silent = true;
                listener.hear(Heard::Idle).await;
                continue;
            }
            () = &mut shutdown => return None,
        };
        match read {
            Ok(0) => return Some("the device is gone".to_owned()),
            Ok(count) => {
                silent = false;
                listener.hear(Heard::Bytes(&buffer[..count])).await;
            }
            Err(why) => return Some(format!("the device is gone ({why})")),
        }
    }
}

/// Takes what the operating system holds already, so that nothing that arrived is lost at shutdown.
async fn drain(stream: &mut SerialStream, listener: &mut impl Listener) {
    let mut buffer = vec![0; 4096];
    while let Ok(count @ 1..) = stream.try_read(&mut buffer) {
        listener.hear(Heard::Bytes(&buffer[..count])).await;
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
