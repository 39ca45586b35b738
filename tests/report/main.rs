//! Reports by the real binary: their numbers against the evidence functions and published answers on
//! the same data, what they leave out, and that the pages are well formed.

#[path = "../common/mod.rs"]
mod common;
#[path = "../evidence/data.rs"]
#[allow(dead_code, reason = "shared with the tests of the evidence functions")]
mod data;
mod figures;
mod lab;
mod month;
mod words;
