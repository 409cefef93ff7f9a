//! Why a packet could not be used.

use core::fmt;

/// Why bytes are no packet, or a message does not fit into one.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Error {
    /// Longer than a packet may be.
    TooLong,
    /// Not COBS, or too short to hold a checksum.
    Framing,
    /// The checksum does not fit the message.
    Checksum,
    /// A sound packet that holds no message of this format.
    Malformed,
    /// The hello of a receiver whose format is newer than
    /// [`FORMAT_VERSION`](crate::FORMAT_VERSION).
    FutureVersion(u16),
}

impl fmt::Display for Error {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::TooLong => f.write_str("longer than a packet may be"),
            Self::Framing => f.write_str("no COBS frame"),
            Self::Checksum => f.write_str("checksum does not fit"),
            Self::Malformed => f.write_str("no message of this format"),
            Self::FutureVersion(version) => write!(f, "format version {version} is not known yet"),
        }
    }
}

impl core::error::Error for Error {}
