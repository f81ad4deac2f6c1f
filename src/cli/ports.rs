//! `ports`: the serial ports and what is heard on each.

use super::args::PortsArgs;
use super::failure::Failure;
use super::output::{answer, page};
use crate::report::json;
use crate::sources::ports::{listen_to_all, names};
use crate::units::PressureUnit;
use std::time::Duration;

/// Listens to every port for a while and says what it heard.
///
/// # Errors
/// The system gives no list of ports, or no threads.
pub fn run(args: &PortsArgs) -> Result<u8, Failure> {
    let names = names().map_err(|error| Failure::Ports(error.to_string()))?;
    let heard = listen_to_all(&names, args.baud, Duration::from_secs(args.seconds))
        .map_err(|error| Failure::Ports(error.to_string()))?;
    if args.json {
        answer(json::plain(heard.as_slice())?.as_bytes())?;
        return Ok(0);
    }
    let mut page = page(PressureUnit::Kpa);
    if heard.is_empty() {
        page.paragraph("No serial port on this machine: plug the box in and look at its cable.");
    }
    for port in &heard {
        page.item(&format!("{}: {}", port.port, port.say()));
    }
    answer(page.finish().as_bytes())?;
    Ok(0)
}
