//! The shell: everything at a station that has a clock, a port or a disk.
//!
//! Read in the order in which a byte passes: [`settings`] says what there is, [`mod@line`] is what carries
//! bytes, [`port`] keeps one
//! open ([`sense`] finds its speed where nobody knows it), `instrument` and `scanner` make events of what it sends and answer it, [`intake`]
//! watches the orders folder, [`passing`] stands between an instrument and its host, [`recorder`] steps the core and commits what comes out, [`follow`]
//! hands round what is committed, [`board`] draws the live picture from it, [`run`] starts and
//! ends all of it, and [`attach`] is how others run beside it.

pub mod asked;
pub mod attach;
pub mod board;
pub mod follow;
mod instrument;
pub mod intake;
pub mod line;
mod listening;
pub mod notes;
pub mod passing;
pub mod port;
pub mod pty;
pub mod recorder;
pub mod run;
mod scanner;
pub mod sense;
pub mod settings;
