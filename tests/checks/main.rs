//! Reference lenses, checks that hold verdicts back, manual readings, cross-checks and practice:
//! the core by itself, and the real binary.

#[path = "../common/mod.rs"]
mod common;
mod core;
mod program;
