//! The links that let people in, as text and as a QR code.

use std::net::{IpAddr, SocketAddr};

use qrcode::render::unicode::Dense1x2;
use qrcode::{EcLevel, QrCode};

use crate::error::{Error, Result};

/// The addresses of this computer that others in its networks may reach, IPv4 first.
///
/// # Errors
///
/// The system does not tell them.
pub fn reachable() -> Result<Vec<IpAddr>> {
    let all = if_addrs::get_if_addrs().map_err(|e| {
        Error::receiver("network", format!("cannot be asked: {e}"), "serve without --share")
    })?;
    let is_reachable = |ip: &IpAddr| match ip {
        IpAddr::V4(ip) => !ip.is_loopback() && !ip.is_link_local(),
        IpAddr::V6(_) => false,
    };
    let mut reachable: Vec<IpAddr> = all.iter().map(|i| i.ip()).filter(is_reachable).collect();
    reachable.sort();
    reachable.dedup();
    Ok(reachable)
}

/// A link to the page at `address`.
pub fn link(address: SocketAddr, who: &str, key: &str) -> String {
    format!("http://{address}/{who}/{key}")
}

/// `text` as a QR code of half blocks, dark on light whatever the terminal's colours.
///
/// # Errors
///
/// A text that is too long for one.
pub fn qr_code(text: &str) -> Result<String> {
    let code = QrCode::with_error_correction_level(text, EcLevel::L)
        .map_err(|e| Error::usage(format!("the link makes no QR code: {e}"), "type the link"))?;
    let blocks = code.render::<Dense1x2>().quiet_zone(true).build();
    // The blocks are the dark parts: black on white, as scanners expect.
    let lines = blocks.lines().map(|line| format!("\x1b[30;107m{line}\x1b[0m\n"));
    Ok(lines.collect())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_link_fits_a_code_that_a_terminal_can_show() {
        let address = SocketAddr::from(([192, 168, 100, 200], 45700));
        let link = link(address, "view", &"f".repeat(32));
        assert_eq!(link, format!("http://192.168.100.200:45700/view/{}", "f".repeat(32)));
        let code = qr_code(&link).unwrap();
        // Versions of up to 37 modules with a quiet zone of 4 on each side.
        assert!(code.lines().count() <= 23, "{}", code.lines().count());
        assert!(qr_code(&"x".repeat(5000)).is_err());
    }
}
