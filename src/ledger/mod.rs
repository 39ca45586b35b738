//! The record.
