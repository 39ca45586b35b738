//! The layouts that come with the program.

use super::Layout;
use std::sync::{Arc, LazyLock};

macro_rules! built_in {
    ($($name:literal),* $(,)?) => {
        &[$(($name, include_str!(concat!("../../layouts/", $name, ".toml")))),*]
    };
}

/// Names and texts: one line registers one.
const TEXTS: &[(&str, &str)] =
    built_in!["tagged", "delimited", "columns", "block", "terse", "strip", "cells",];

/// Every built-in layout, compiled.
pub(super) static ALL: LazyLock<Vec<Arc<Layout>>> = LazyLock::new(|| {
    let compiled = TEXTS.iter().map(|(name, text)| {
        let origin = format!("built-in layout {name}");
        Arc::new(Layout::from_toml(text, &origin).expect("every built-in layout is compiled by the tests"))
    });
    compiled.collect()
});

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_built_in_compiles_under_its_own_name() {
        for (name, text) in TEXTS {
            let layout = Layout::from_toml(text, name).unwrap_or_else(|error| panic!("{error}"));
            assert_eq!(layout.name(), *name);
        }
    }
}
