//! Between an instrument and its host: the real binary, real pseudo-terminals and sockets, and for
//! RFC 2217 an independent implementation (pyserial) at either end.

#[path = "../common/mod.rs"]
mod common;
mod lab;
mod lasting;
mod network;
mod passed;
mod rfc2217;
mod settings;
mod shown;
