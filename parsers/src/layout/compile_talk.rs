//! Compiles `[talk]`: what is said back to the instrument.

use super::error::LayoutError;
use super::text::Section;
use crate::talk::{Ask, Talk};

pub(super) fn talk(mut section: Section<'_>) -> Result<Talk, LayoutError> {
    let on_open = said(&mut section, "on_open")?;
    let bytes = said(&mut section, "ask")?;
    let when = section.choice("ask_when", &[("ready", true), ("timer", false)])?;
    let every = section.count("ask_every_ms", 20..3_600_001)?;
    let tries = section.count("ask_tries", 1..1001)?;
    let about_asking = [
        ("ask_when", when.as_ref().map(|(_, at)| at)),
        ("ask_every_ms", every.as_ref().map(|(_, at)| at)),
        ("ask_tries", tries.as_ref().map(|(_, at)| at)),
    ];
    if bytes.is_empty()
        && let Some((key, at)) = about_asking.into_iter().find_map(|(key, at)| Some((key, at?)))
    {
        return Err(section.source.error(at.clone(), format!("{key} without ask"), "ask = \"<ENQ>\", or so"));
    }
    let acknowledge = said(&mut section, "acknowledge")?;
    let refuse = said(&mut section, "refuse")?;
    let retries = section.count("retries", 0..101)?;
    if refuse.is_empty()
        && let Some((_, at)) = retries
    {
        return Err(section.source.error(at, "retries without refuse", "refuse = \"<NAK>\", or so"));
    }
    let talk = Talk {
        on_open,
        ask: (!bytes.is_empty()).then(|| Ask {
            bytes,
            every: every.map_or(1000, |(every, _)| every.into()),
            when_ready: when.is_none_or(|(when_ready, _)| when_ready),
            tries: tries.map_or(Talk::TRIES, |(tries, _)| tries),
        }),
        acknowledge,
        refuse,
        retries: retries.map_or(Talk::RETRIES, |(retries, _)| retries),
        dtr: section.flag("dtr")?.map(|(level, _)| level),
        rts: section.flag("rts")?.map(|(level, _)| level),
    };
    section.finish()?;
    Ok(talk)
}

fn said(section: &mut Section<'_>, key: &'static str) -> Result<Vec<u8>, LayoutError> {
    match section.bytes(key)? {
        Some((bytes, at)) if bytes.is_empty() => {
            Err(section.source.error(at, format!("{key} is empty"), "the bytes to send"))
        }
        found => Ok(found.map_or_else(Vec::new, |(bytes, _)| bytes)),
    }
}
