//! Content of files, known again by its SHA-256 (FIPS 180-4).

use std::fs::File;
use std::io::Read;
use std::path::Path;

use sha2::{Digest, Sha256};

use crate::error::{Error, Result};

/// Of bytes, in hexadecimal digits.
pub fn of_bytes(bytes: &[u8]) -> String {
    in_digits(&Sha256::digest(bytes))
}

/// Of the file at `path`, whatever its length.
///
/// # Errors
///
/// A file that cannot be read.
pub fn of_file(path: &Path) -> Result<String> {
    let failed = |e: std::io::Error| Error::io(path, "read", &e);
    let mut file = File::open(path).map_err(failed)?;
    let mut hash = Sha256::new();
    let mut piece = vec![0; 1 << 20];
    loop {
        match file.read(&mut piece).map_err(failed)? {
            0 => return Ok(in_digits(&hash.finalize())),
            read => hash.update(&piece[..read]),
        }
    }
}

fn in_digits(bytes: &[u8]) -> String {
    bytes.iter().map(|byte| format!("{byte:02x}")).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// FIPS 180-2, appendix B.1, and the well-known value of nothing (from memory).
    #[test]
    fn published_examples() {
        let abc = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad";
        let nothing = "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855";
        assert_eq!(of_bytes(b"abc"), abc);
        assert_eq!(of_bytes(b""), nothing);
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("abc");
        std::fs::write(&path, "abc").unwrap();
        assert_eq!(of_file(&path).unwrap(), abc);
    }
}
