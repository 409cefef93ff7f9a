//! The pseudo-terminal that stands for the serial cable.

use std::ffi::OsStr;
use std::os::fd::OwnedFd;
use std::os::unix::ffi::OsStrExt;
use std::path::{Path, PathBuf};
use std::time::Duration;

use rustix::event::{PollFd, PollFlags, Timespec};
use rustix::fs::{Mode, OFlags};
use rustix::io::Errno;
use rustix::pty::OpenptFlags;
use rustix::termios::OptionalActions;

use crate::error::{Error, Result};

/// One plugging-in of the cable: from here on there is a device at the link,
/// until this is dropped. Reading and writing never wait.
pub(super) struct Cable {
    near: OwnedFd,
    /// Held open so that the terminal stays raw and alive when a host closes it.
    far: OwnedFd,
    device: PathBuf,
    link: PathBuf,
}

impl Cable {
    /// Plug in: make a pseudo-terminal and let `link` point to it.
    pub(super) fn plug_in(link: &Path) -> Result<Self> {
        let (near, far, device) = pseudo_terminal().map_err(|e| {
            Error::receiver(
                link.display(),
                format!("cannot make a pseudo-terminal: {}", std::io::Error::from(e)),
                "check that /dev/pts is mounted and not full",
            )
        })?;
        point(link, &device)?;
        Ok(Self { near, far, device, link: link.to_owned() })
    }

    /// Bytes from the host; 0 when there are none now.
    pub(super) fn read(&self, buffer: &mut [u8]) -> Result<usize> {
        none_yet(rustix::io::read(&self.near, buffer)).map_err(|e| self.broken("read", e))
    }

    /// Bytes to the host; gives how many found room.
    pub(super) fn write(&self, bytes: &[u8]) -> Result<usize> {
        none_yet(rustix::io::write(&self.near, bytes)).map_err(|e| self.broken("write", e))
    }

    /// Wait until the host has sent something, or, with `to_write`, there is
    /// room for more, but no longer than `at_most`.
    pub(super) fn wait(&self, to_write: bool, at_most: Duration) -> Result<()> {
        let flags = if to_write { PollFlags::IN | PollFlags::OUT } else { PollFlags::IN };
        let timeout =
            Timespec { tv_sec: at_most.as_secs() as i64, tv_nsec: at_most.subsec_nanos().into() };
        match rustix::event::poll(&mut [PollFd::new(&self.near, flags)], Some(&timeout)) {
            Ok(_) | Err(Errno::INTR) => Ok(()),
            Err(e) => Err(self.broken("wait", e)),
        }
    }

    /// Let the next host in. One that was killed leaves its claim to be the only
    /// one on the terminal, as this end keeps the terminal alive; its file lock,
    /// which serial programs also honour, is gone with it.
    pub(super) fn lift_stale_claim(&self) {
        // Nothing is lost when that fails: the next host then says the port is busy.
        let _ = rustix::termios::ioctl_tiocnxcl(&self.far);
    }

    fn broken(&self, doing: &str, error: Errno) -> Error {
        Error::receiver(
            self.link.display(),
            format!("cannot {doing}: {}", std::io::Error::from(error)),
            "start the emulator again",
        )
    }
}

impl Drop for Cable {
    fn drop(&mut self) {
        // Somebody else's link, made meanwhile, stays.
        if std::fs::read_link(&self.link).is_ok_and(|device| device == self.device) {
            let _ = std::fs::remove_file(&self.link);
        }
    }
}

/// The near end, the far end in raw mode, and the far end's path.
fn pseudo_terminal() -> rustix::io::Result<(OwnedFd, OwnedFd, PathBuf)> {
    let near = rustix::pty::openpt(OpenptFlags::RDWR | OpenptFlags::NOCTTY)?;
    rustix::io::fcntl_setfd(&near, rustix::io::FdFlags::CLOEXEC)?;
    rustix::pty::grantpt(&near)?;
    rustix::pty::unlockpt(&near)?;
    let name = rustix::pty::ptsname(&near, Vec::new())?;
    let flags = OFlags::RDWR | OFlags::NOCTTY | OFlags::CLOEXEC;
    let far = rustix::fs::open(&*name, flags, Mode::empty())?;
    let mut settings = rustix::termios::tcgetattr(&far)?;
    settings.make_raw();
    rustix::termios::tcsetattr(&far, OptionalActions::Now, &settings)?;
    rustix::io::ioctl_fionbio(&near, true)?;
    Ok((near, far, PathBuf::from(OsStr::from_bytes(name.to_bytes()))))
}

/// Let `link` point to `device`, in one step. Only a link is ever replaced.
fn point(link: &Path, device: &Path) -> Result<()> {
    if link.symlink_metadata().is_ok_and(|there| !there.is_symlink()) {
        return Err(Error::file(
            link.display(),
            "is there already and is no link",
            "choose another place for the link",
        ));
    }
    let mut beside = link.as_os_str().to_owned();
    beside.push(format!(".{}", std::process::id()));
    let beside = PathBuf::from(beside);
    std::os::unix::fs::symlink(device, &beside)
        .and_then(|()| std::fs::rename(&beside, link))
        .map_err(|e| Error::io(link, "make the link", &e))
}

fn none_yet(result: rustix::io::Result<usize>) -> rustix::io::Result<usize> {
    match result {
        Err(Errno::AGAIN | Errno::INTR) => Ok(0),
        other => other,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::io::{Read, Write};

    #[test]
    fn bytes_pass_unchanged_both_ways() {
        let folder = tempfile::tempdir().unwrap();
        let link = folder.path().join("receiver");
        let cable = Cable::plug_in(&link).unwrap();
        let every: Vec<u8> = (0..=255).collect();
        let mut host = std::fs::File::options().read(true).write(true).open(&link).unwrap();

        assert_eq!(cable.write(&every).unwrap(), 256);
        let mut seen = [0; 256];
        host.read_exact(&mut seen).unwrap();
        assert_eq!(seen.as_slice(), every);

        host.write_all(&every).unwrap();
        let mut seen = Vec::new();
        while seen.len() < 256 {
            cable.wait(false, Duration::from_secs(10)).unwrap();
            let mut part = [0; 256];
            let n = cable.read(&mut part).unwrap();
            assert!(n > 0, "nothing within 10 s");
            seen.extend_from_slice(&part[..n]);
        }
        assert_eq!(seen, every);
    }

    #[test]
    fn writing_never_waits_for_a_reader() {
        let folder = tempfile::tempdir().unwrap();
        let cable = Cable::plug_in(&folder.path().join("receiver")).unwrap();
        let mut taken = 0;
        loop {
            match cable.write(&[7; 4096]).unwrap() {
                0 => break,
                n => taken += n,
            }
        }
        assert!(taken > 0);
    }

    #[test]
    fn the_link_goes_with_the_cable_and_files_are_left_alone() {
        let folder = tempfile::tempdir().unwrap();
        let link = folder.path().join("receiver");
        let first = Cable::plug_in(&link).unwrap();
        let second = Cable::plug_in(&link).unwrap();
        drop(first);
        assert!(link.is_symlink(), "the second cable's link stays");
        drop(second);
        assert!(!link.is_symlink());

        std::fs::write(&link, "a file").unwrap();
        assert!(Cable::plug_in(&link).is_err());
        assert_eq!(std::fs::read_to_string(&link).unwrap(), "a file");
    }
}
