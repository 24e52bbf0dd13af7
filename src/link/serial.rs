//! Serial ports, through the `serialport` library.

use super::address::{Parity, SerialSettings};
use super::{Channel, LinkError};
use serialport::{ClearBuffer, DataBits, ErrorKind, FlowControl, SerialPort, SerialPortType, StopBits};
use std::io::{self, Read, Write};
use std::time::Duration;

/// Longest that a call blocks before the first deadline is set.
const UNTIL_TOLD: Duration = Duration::from_millis(100);

struct Serial(Box<dyn SerialPort>);

impl Read for Serial {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        self.0.read(buffer)
    }
}

impl Write for Serial {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        self.0.write(bytes)
    }
    fn flush(&mut self) -> io::Result<()> {
        self.0.flush()
    }
}

impl Channel for Serial {
    fn block_at_most(&mut self, limit: Duration) -> io::Result<()> {
        self.0.set_timeout(limit).map_err(io::Error::from)
    }
    fn has_input(&mut self) -> io::Result<bool> {
        Ok(self.0.bytes_to_read().map_err(io::Error::from)? > 0)
    }
}

/// Opens a serial port in raw mode for this program alone.
///
/// RTS and DTR are raised where the port has them: some adapters power their line driver from them. A
/// pseudo-terminal has none, which does no harm.
pub(super) fn open(path: &str, settings: SerialSettings) -> Result<Box<dyn Channel>, LinkError> {
    let builder = serialport::new(path, settings.baud)
        .data_bits(if settings.data_bits == 7 { DataBits::Seven } else { DataBits::Eight })
        .parity(parity(settings.parity))
        .stop_bits(if settings.stop_bits == 2 { StopBits::Two } else { StopBits::One })
        .flow_control(if settings.hardware_flow { FlowControl::Hardware } else { FlowControl::None })
        .dtr_on_open(true)
        .timeout(UNTIL_TOLD);
    let mut port = builder.open().map_err(|error| cannot_open(path, &error))?;
    if !settings.hardware_flow {
        let _ = port.write_request_to_send(true);
    }
    // Whatever was sent before we came is no answer to us.
    let _ = port.clear(ClearBuffer::Input);
    Ok(Box::new(Serial(port)))
}

fn parity(parity: Parity) -> serialport::Parity {
    match parity {
        Parity::None => serialport::Parity::None,
        Parity::Odd => serialport::Parity::Odd,
        Parity::Even => serialport::Parity::Even,
    }
}

fn cannot_open(path: &str, error: &serialport::Error) -> LinkError {
    let port = path.to_owned();
    let detail = error.description.clone();
    match error.kind() {
        ErrorKind::NoDevice if std::path::Path::new(path).exists() => LinkError::Busy { port },
        ErrorKind::NoDevice | ErrorKind::Io(io::ErrorKind::NotFound) => LinkError::NoSuchPort { port },
        ErrorKind::Io(io::ErrorKind::PermissionDenied) => {
            LinkError::Permission { remedy: permission_remedy(path), port }
        }
        ErrorKind::InvalidInput => LinkError::Settings { port, detail },
        _ if is_plain_file(path) => LinkError::NotSerial { port, detail },
        _ => LinkError::Other { port, detail },
    }
}

fn is_plain_file(path: &str) -> bool {
    std::fs::metadata(path).is_ok_and(|meta| meta.is_file() || meta.is_dir() || meta.is_symlink())
        || path.ends_with("null")
}

/// Which group may open the device, and how to join it.
#[cfg(unix)]
fn permission_remedy(path: &str) -> String {
    use std::os::unix::fs::MetadataExt;
    let Ok(meta) = std::fs::metadata(path) else {
        return "check who may use it with `ls -l`".to_owned();
    };
    let group = group_name(meta.gid()).unwrap_or_else(|| meta.gid().to_string());
    format!(
        "the device belongs to group '{group}': add yourself with `sudo usermod -aG {group} $USER` and log in again"
    )
}

#[cfg(not(unix))]
fn permission_remedy(_path: &str) -> String {
    "another program may hold the port, or your account may not use it".to_owned()
}

/// The name of a group, from the system's own list.
#[cfg(unix)]
fn group_name(id: u32) -> Option<String> {
    let list = std::fs::read_to_string("/etc/group").ok()?;
    list.lines().find_map(|line| {
        let mut fields = line.split(':');
        let name = fields.next()?;
        (fields.nth(1)?.parse::<u32>().ok()? == id).then(|| name.to_owned())
    })
}

/// A serial port of this machine and what the system knows of it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SerialPortInfo {
    /// The path or name to give as an address.
    pub path: String,
    /// How it is attached, and what the adapter says of itself.
    pub description: String,
}

/// The serial ports of this machine, in order of name.
///
/// # Errors
/// [`LinkError::Other`] if the system does not give a list.
pub fn serial_ports() -> Result<Vec<SerialPortInfo>, LinkError> {
    let found = serialport::available_ports()
        .map_err(|error| LinkError::Other { port: "serial ports".into(), detail: error.description })?;
    let mut ports: Vec<_> = found
        .into_iter()
        .map(|port| SerialPortInfo { description: describe(&port.port_type), path: port.port_name })
        .collect();
    ports.sort_by(|a, b| a.path.cmp(&b.path));
    Ok(ports)
}

fn describe(kind: &SerialPortType) -> String {
    match kind {
        SerialPortType::UsbPort(usb) => {
            let words = [usb.manufacturer.as_deref(), usb.product.as_deref()];
            let said: Vec<_> = words.into_iter().flatten().filter(|word| !word.is_empty()).collect();
            let serial = usb.serial_number.as_ref().map_or_else(String::new, |s| format!(", serial {s}"));
            let said = if said.is_empty() { String::new() } else { format!(" {}", said.join(" ")) };
            format!("USB {:04x}:{:04x}{said}{serial}", usb.vid, usb.pid)
        }
        SerialPortType::BluetoothPort => "Bluetooth".to_owned(),
        SerialPortType::PciPort => "built in".to_owned(),
        SerialPortType::Unknown => "nothing more known".to_owned(),
    }
}
