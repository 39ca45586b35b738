//! The shell: everything at a station that has a clock, a port or a disk.
//!
//! Read in the order in which a byte passes: [`settings`] says what there is, [`port`] keeps a
//! tty open and hands on what it sends, [`intake`] watches the orders folder, [`recorder`] steps
//! the core and commits what comes out, [`follow`] hands round what is committed, [`board`] draws
//! the live picture from it, [`run`] starts and ends all of it, and [`attach`] is how others run
//! beside it.

pub mod attach;
pub mod board;
pub mod follow;
pub mod intake;
pub mod notes;
pub mod port;
pub mod pty;
pub mod recorder;
pub mod run;
pub mod settings;
