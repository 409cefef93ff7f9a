//! Errors that a person can act on.
//!
//! Every error says where (file and place in it, or port), what is wrong, and
//! what to do. Its kind decides the exit code.

use std::fmt;
use std::path::Path;
use std::process::ExitCode;

/// What went wrong, by who can mend it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kind {
    /// The command was put wrongly.
    Usage,
    /// A file given to the command, or the place to write to, is not usable.
    File,
    /// The receiver or its port is in trouble.
    Receiver,
}

/// An error with the place it was met at and the way out.
#[derive(Clone, Debug)]
pub struct Error {
    kind: Kind,
    place: String,
    what: String,
    remedy: String,
}

impl Error {
    /// A command put wrongly.
    pub fn usage(what: impl Into<String>, remedy: impl Into<String>) -> Self {
        Self::new(Kind::Usage, "command line", what, remedy)
    }

    /// A file that cannot be used; `place` may add a line or a field to the path.
    pub fn file(
        place: impl fmt::Display,
        what: impl Into<String>,
        remedy: impl Into<String>,
    ) -> Self {
        Self::new(Kind::File, place, what, remedy)
    }

    /// A file operation that the system refused.
    pub fn io(path: &Path, doing: &str, error: &std::io::Error) -> Self {
        use std::io::ErrorKind::*;
        let remedy = match error.kind() {
            NotFound => "check the path for typing errors",
            PermissionDenied => "check who may read and write there",
            StorageFull => "free some space or choose another disk",
            ReadOnlyFilesystem => "choose a place that can be written",
            _ => "check the disk and the path",
        };
        Self::file(path.display(), format!("cannot {doing}: {error}"), remedy)
    }

    /// Trouble with the receiver on `port`.
    pub fn receiver(
        port: impl fmt::Display,
        what: impl Into<String>,
        remedy: impl Into<String>,
    ) -> Self {
        Self::new(Kind::Receiver, port, what, remedy)
    }

    fn new(
        kind: Kind,
        place: impl fmt::Display,
        what: impl Into<String>,
        remedy: impl Into<String>,
    ) -> Self {
        Self { kind, place: place.to_string(), what: what.into(), remedy: remedy.into() }
    }

    /// The same error with more to say about what is wrong.
    pub fn and(mut self, more: impl fmt::Display) -> Self {
        self.what = format!("{}; {more}", self.what);
        self
    }

    /// What is wrong, without the place and the way out.
    pub fn what(&self) -> &str {
        &self.what
    }

    /// What kind of trouble this is.
    pub fn kind(&self) -> Kind {
        self.kind
    }

    /// The exit code by contract: 2 usage, 3 file, 4 receiver.
    pub fn exit_code(&self) -> ExitCode {
        ExitCode::from(match self.kind {
            Kind::Usage => 2,
            Kind::File => 3,
            Kind::Receiver => 4,
        })
    }
}

impl fmt::Display for Error {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}: {}\n  to do: {}", self.place, self.what, self.remedy)
    }
}

impl std::error::Error for Error {}

/// The result of anything that can fail in a way a person must know of.
pub type Result<T> = std::result::Result<T, Error>;
