//! The pages in a real browser, against real stations on pseudo-terminals.
//!
//! Debian's chromium and chromium-driver, and axe-core under target/axe: `contrib/check` sets them
//! up. `chrome` drives the browser; then the tests, by who uses the pages.

#[path = "../common/mod.rs"]
mod common;

mod access;
mod auditing;
mod benchwork;
mod byhand;
mod chrome;
mod keeping;
