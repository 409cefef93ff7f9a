//! The serial link, the recording and their commands, over a real
//! pseudo-terminal with a receiver's own core at the far end.

mod fake;
mod link;
mod ports;
mod record;
