//! `fociline ports`: the serial ports of this computer.

use super::{Answer, Stop, json};
use serde::Serialize;
use serde_with::skip_serializing_none;
use std::path::{Path, PathBuf};

#[derive(Debug, clap::Args)]
pub(super) struct PortsArgs {
    /// Print JSON
    #[arg(long)]
    json: bool,
}

#[skip_serializing_none]
#[derive(Serialize)]
struct Port {
    device: String,
    /// The path that stays the same when the adapter is plugged in elsewhere.
    stable: Option<PathBuf>,
    kind: String,
}

const BY_ID: &str = "/dev/serial/by-id";

pub(super) fn run(args: PortsArgs) -> Answer {
    let ports: Vec<Port> = serialport::available_ports()
        .map_err(|why| Stop::Failed(format!("the ports cannot be listed: {why}")))?
        .into_iter()
        .map(|port| Port {
            stable: stable_path(Path::new(&port.port_name)),
            kind: kind(&port.port_type),
            device: port.port_name,
        })
        .collect();
    if args.json {
        println!("{}", json(&ports));
    } else if ports.is_empty() {
        println!("no serial ports: plug in the adapter and try again");
    } else {
        for port in &ports {
            println!("{:<16} {}", port.device, port.kind);
            if let Some(stable) = &port.stable {
                println!("    use this path in station.toml: {}", stable.display());
            }
        }
    }
    Ok(true)
}

fn stable_path(device: &Path) -> Option<PathBuf> {
    let device = device.canonicalize().ok()?;
    std::fs::read_dir(BY_ID)
        .ok()?
        .filter_map(|entry| Some(entry.ok()?.path()))
        .find(|link| link.canonicalize().is_ok_and(|target| target == device))
}

fn kind(port: &serialport::SerialPortType) -> String {
    use serialport::SerialPortType::*;
    match port {
        UsbPort(usb) => {
            let names = [&usb.manufacturer, &usb.product, &usb.serial_number];
            let names: Vec<&str> = names.into_iter().flatten().map(String::as_str).collect();
            format!("USB {:04x}:{:04x} {}", usb.vid, usb.pid, names.join(" ")).trim_end().to_owned()
        }
        PciPort => "built in".to_owned(),
        BluetoothPort => "Bluetooth".to_owned(),
        Unknown => "unknown".to_owned(),
    }
}
