//! A byte stream into messages.

use crate::{CRC, CRC_BYTES, Error, Message};

/// Finds packets in a byte stream, in pieces of any size, whatever stands
/// between them.
///
/// `N` is the longest packet it can take; [`MAX_PACKET_BYTES`](crate::MAX_PACKET_BYTES)
/// for any. Each byte is copied once; messages borrow from the decoder.
#[derive(Clone, Debug)]
pub struct Decoder<const N: usize> {
    frame: [u8; N],
    /// Bytes since the last delimiter, those beyond `N` counted but not kept.
    length: usize,
    discarded: Discarded,
}

/// What a [`Decoder`] threw away.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Discarded {
    /// Stretches between delimiters that were no packet.
    pub frames: u64,
    /// Bytes in those stretches, delimiters not counted.
    pub bytes: u64,
}

impl<const N: usize> Default for Decoder<N> {
    fn default() -> Self {
        Self::new()
    }
}

impl<const N: usize> Decoder<N> {
    /// A decoder that stands at the start of a packet.
    pub const fn new() -> Self {
        Self { frame: [0; N], length: 0, discarded: Discarded { frames: 0, bytes: 0 } }
    }

    /// Take bytes from the front of `input` up to the end of the next packet.
    ///
    /// `None` when the input is used up. Otherwise call again: the rest of the
    /// input is still to be read. An error stands for one stretch between
    /// delimiters that is no packet, and is counted in [`Self::discarded`].
    pub fn next<'d, M: Message<'d>>(&'d mut self, input: &mut &[u8]) -> Option<Result<M, Error>> {
        let length = self.find_frame(input)?;
        let result = match self.frame.get_mut(..length) {
            Some(frame) => open(frame).and_then(M::parse),
            None => Err(Error::TooLong),
        };
        if result.is_err() {
            self.discarded.frames += 1;
            self.discarded.bytes += length as u64;
        }
        Some(result)
    }

    /// Forget a half-received packet, as when the line was opened anew.
    pub fn reset(&mut self) {
        self.length = 0;
    }

    /// What was thrown away so far.
    pub fn discarded(&self) -> Discarded {
        self.discarded
    }

    /// The length of the next frame that is not empty, once its delimiter came.
    fn find_frame(&mut self, input: &mut &[u8]) -> Option<usize> {
        while let Some(end) = input.iter().position(|&byte| byte == 0) {
            self.keep(&input[..end]);
            *input = &input[end + 1..];
            match core::mem::take(&mut self.length) {
                0 => continue,
                length => return Some(length),
            }
        }
        self.keep(input);
        *input = &[];
        None
    }

    fn keep(&mut self, bytes: &[u8]) {
        let room = self.frame.get_mut(self.length..).unwrap_or_default();
        let kept = bytes.len().min(room.len());
        room[..kept].copy_from_slice(&bytes[..kept]);
        self.length = self.length.saturating_add(bytes.len());
    }
}

/// The message bytes of a frame without its delimiter.
fn open(frame: &mut [u8]) -> Result<&[u8], Error> {
    let length = cobs::decode_in_place(frame).map_err(|_| Error::Framing)?;
    let (message, checksum) =
        frame[..length].split_last_chunk::<CRC_BYTES>().ok_or(Error::Framing)?;
    if CRC.checksum(message) != u32::from_le_bytes(*checksum) {
        return Err(Error::Checksum);
    }
    Ok(message)
}
