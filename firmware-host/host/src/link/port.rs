//! Serial ports: which there are, and opening one.

use std::io;
use std::path::Path;

use tokio_serial::{
    DataBits, ErrorKind, FlowControl, Parity, SerialPortType, SerialStream, StopBits,
};

/// Line rate for a receiver behind a UART. USB and pseudo-terminals ignore it.
/// Three axes at 8 kS/s need 97.4 kB/s, ten bits a byte: 974 kbit/s.
const BAUD: u32 = 2_000_000;

/// A serial port of this computer.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Port {
    /// What to give as `--port`.
    pub path: String,
    /// What the system knows about the device behind it.
    pub description: String,
}

/// The serial ports that the system lists, in order of name. Pseudo-terminals
/// are not among them.
pub fn list() -> io::Result<Vec<Port>> {
    let mut ports: Vec<_> = tokio_serial::available_ports()
        .map_err(io::Error::from)?
        .into_iter()
        .map(|port| Port { description: describe(&port.port_type), path: port.port_name })
        .collect();
    ports.sort_by(|a, b| a.path.cmp(&b.path));
    Ok(ports)
}

fn describe(kind: &SerialPortType) -> String {
    match kind {
        SerialPortType::UsbPort(usb) => {
            let named = [&usb.manufacturer, &usb.product, &usb.serial_number];
            let mut words = vec![format!("USB {:04x}:{:04x}", usb.vid, usb.pid)];
            words.extend(named.into_iter().flatten().cloned());
            words.join(" ")
        }
        SerialPortType::BluetoothPort => "Bluetooth".into(),
        SerialPortType::PciPort => "built in".into(),
        SerialPortType::Unknown => String::new(),
    }
}

/// Why a port could not be opened, and what to do.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("{what}")]
pub struct CannotOpen {
    /// What is wrong.
    pub what: String,
    /// What to do about it.
    pub remedy: &'static str,
}

/// Open a port as the format wants it, for this program alone.
pub fn open(path: &Path) -> Result<SerialStream, CannotOpen> {
    let builder = tokio_serial::new(path.to_string_lossy(), BAUD)
        .data_bits(DataBits::Eight)
        .parity(Parity::None)
        .stop_bits(StopBits::One)
        .flow_control(FlowControl::None);
    SerialStream::open(&builder).map_err(|e| {
        let mut why = e.to_string();
        let remedy = match e.kind() {
            ErrorKind::Io(io::ErrorKind::NotFound) => {
                "plug the receiver in, and see with `coilrig ports` what is there"
            }
            ErrorKind::Io(io::ErrorKind::PermissionDenied) => {
                "join the group that may use serial ports (often `dialout`), then log in anew"
            }
            // A lock that is held, says the crate by this.
            ErrorKind::NoDevice => {
                why = "another program uses it".into();
                "close the program that uses the port, or unplug the receiver and plug it in again"
            }
            _ => "check that this is a serial port: `coilrig ports` lists them",
        };
        CannotOpen { what: format!("cannot open the port: {why}"), remedy }
    })
}
