//! Feeds: the real binary on pseudo-terminals, and receivers that come, go, stall and lie.
//! After each: nothing lost, the order kept, repeats told by their identity.

#[path = "../common/mod.rs"]
mod common;

mod broker;
mod lab;
mod lines;
mod others;
mod proxy;
