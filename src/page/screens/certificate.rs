//! The certificate of one job, to be printed.

use super::jobs::known;
use super::language::Language;
use super::lenses::{Stand, Table};
use super::{Frame, render};
use crate::bench::entry::{OrderEntry, OverrideEntry, Seq};
use crate::judge::RuleSet;
use crate::ledger::LedgerError;
use crate::page::app::App;
use crate::page::problem::Problem;
use crate::page::session::Who;
use crate::parsers::reading::{Eye, JobNumber};
use askama::Template;
use axum::extract::{Path, State};
use axum::response::Response;
use std::sync::Arc;

#[derive(Template)]
#[template(config = "src/page/askama.toml", path = "certificate.html")]
struct Certificate {
    frame: Frame,
    say: Language,
    job: JobNumber,
    printed: String,
    verdict: Seq,
    judged: String,
    stand: Stand,
    tables: Vec<Table>,
    order: Option<(Seq, OrderEntry)>,
    kind: String,
    lenses: Vec<(&'static str, String)>,
    /// What was measured with: each instrument, with its serial number where it was sent.
    instruments: Vec<String>,
    readings: Vec<(Seq, String)>,
    rules: String,
    rules_title: String,
    rules_source: String,
    rules_hash: String,
    decision: String,
    notes: Vec<String>,
    software: String,
    overridden: Option<(String, OverrideEntry)>,
    verdict_hash: String,
    head: (Seq, String),
}

pub(super) async fn show(
    State(app): State<Arc<App>>,
    who: Who,
    Path(job): Path<String>,
) -> Result<Response, Problem> {
    let say = app.language();
    let view = known(&app, &who, &job).await?;
    let Some(given) = view.verdict else {
        return Err(Problem::not_found(format!(
            "job {} has no verdict yet: there is nothing to certify",
            view.job
        )));
    };
    let verdict = given.verdict;
    let (seq, rules) =
        (given.seq, verdict.basis.as_ref().map_or_else(String::new, |basis| basis.rules.clone()));
    let rules_hash = rules.clone();
    let read = app.read(move |record| {
        let rules = record.in_force(&rules)?.and_then(|text| RuleSet::from_toml(&text.text, &text.name).ok());
        let hash = record.stored_entry(seq)?.map_or_else(String::new, |stored| stored.hash.to_string());
        Ok::<_, LedgerError>((rules, hash, record.head()?))
    });
    let (rules, verdict_hash, head) = read.await?;
    let used = |seq: Seq| verdict.basis.as_ref().is_some_and(|basis| basis.readings.contains(&seq.0));
    let readings: Vec<_> = view.readings.iter().filter(|reading| used(reading.seq)).collect();
    let mut instruments: Vec<String> = readings
        .iter()
        .map(|reading| match &reading.entry.reading.serial {
            Some(serial) => format!("{} ({} {serial})", reading.entry.instrument, say.serial),
            None => reading.entry.instrument.clone(),
        })
        .collect();
    instruments.sort();
    instruments.dedup();
    let order = view
        .orders
        .iter()
        .find(|order| verdict.basis.as_ref().is_some_and(|basis| basis.order == order.seq.0));
    let order = order.map(|order| (order.seq, OrderEntry::clone(&order.entry)));
    let lens = |(_, entry): &(Seq, OrderEntry)| {
        let lens = |eye| entry.order.lens_for(eye).map(|lens| (say.eye(eye), say.ordered_lens(lens)));
        Eye::BOTH.into_iter().filter_map(lens).collect()
    };
    let page = Certificate {
        frame: Frame::new(&app, &who, format!("{} {}", say.certificate_of, view.job)).under("/jobs"),
        printed: say.date_time(app.now()),
        verdict: seq,
        judged: say.date_time(given.time),
        stand: say.stand(&verdict),
        tables: say.tables(order.as_ref().map(|(_, entry)| &entry.order), &verdict),
        kind: order.as_ref().map_or_else(String::new, |(_, entry)| say.order_kind(&entry.order)),
        lenses: order.as_ref().map_or_else(Vec::new, lens),
        order,
        instruments,
        readings: readings.iter().map(|reading| (reading.seq, say.date_time(reading.time))).collect(),
        rules: verdict.rules.clone(),
        rules_title: rules
            .as_ref()
            .map_or_else(String::new, |rules| format!("{}, {}", rules.title(), rules.edition())),
        rules_source: rules.as_ref().map_or_else(String::new, |rules| rules.source().to_owned()),
        rules_hash,
        decision: verdict.decision.clone(),
        notes: verdict.notes.clone(),
        software: verdict.basis.as_ref().map_or_else(String::new, |basis| basis.software.clone()),
        overridden: given.overridden.map(|signed| (signed.role.to_string(), signed)),
        verdict_hash,
        head: (head.seq, head.hash.to_string()),
        job: view.job,
        say,
    };
    Ok(render(&page))
}
