//! The shell: everything at a station that has a clock, a port or a disk.
//!
//! Read in the order in which a byte passes: [`settings`] says what there is, [`port`] keeps a
//! tty open and hands on what it sends, [`intake`] watches the orders folder, [`recorder`] steps
//! the core and commits what comes out, [`run`] starts and ends all of it.

pub mod intake;
pub mod notes;
pub mod port;
pub mod pty;
pub mod recorder;
pub mod run;
pub mod settings;
