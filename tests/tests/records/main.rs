//! The records as a park meets them: entered by commands, by several programs at once,
//! killed in the middle, on disks that are full or cannot be written.

mod at_once;
mod by_commands;
mod captures;
mod full;
mod killed;
mod park;
mod read_only;
