//! Layouts are learnt from a few invented lenses, and read lenses that they were not learnt from.

mod built_in;
mod invented;
mod lens;
mod open;
