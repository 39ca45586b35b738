//! Optics of one lens and one pair. Pure.
