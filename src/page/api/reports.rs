//! Reports: their figures as JSON and as CSV.

use super::export::{download, format_of};
use crate::bench::entry::Seq;
use crate::page::app::App;
use crate::page::problem::Problem;
use crate::page::reports::{Asked, kind};
use crate::page::rights::Right;
use crate::page::session::Who;
use crate::report::document::{Figure, Report, Section, rounded};
use axum::Json;
use axum::extract::{Path, RawQuery, State};
use axum::response::{IntoResponse, Response};
use serde::Serialize;
use std::sync::Arc;

#[derive(Serialize)]
struct ReportView {
    title: String,
    about: Vec<About>,
    warnings: Vec<String>,
    sections: Vec<SectionView>,
    entries: Vec<Seq>,
}

#[derive(Serialize)]
struct About {
    name: String,
    value: String,
}

#[derive(Serialize)]
struct SectionView {
    heading: String,
    says: Vec<String>,
    figures: Vec<FigureView>,
}

#[derive(Serialize)]
struct FigureView {
    name: String,
    value: Option<f64>,
    low: Option<f64>,
    high: Option<f64>,
    n: Option<usize>,
    unit: &'static str,
    note: String,
}

impl From<Figure> for FigureView {
    fn from(figure: Figure) -> Self {
        Self {
            name: figure.full_name(),
            value: figure.value.map(rounded),
            low: figure.interval.map(|interval| rounded(interval.low)),
            high: figure.interval.map(|interval| rounded(interval.high)),
            n: figure.n,
            unit: figure.unit,
            note: figure.note,
        }
    }
}

impl From<Section> for SectionView {
    fn from(section: Section) -> Self {
        let figures = section.figures.into_iter().map(FigureView::from).collect();
        Self { heading: section.heading, says: section.says, figures }
    }
}

impl From<Report> for ReportView {
    fn from(report: Report) -> Self {
        Self {
            title: report.title,
            about: report.about.into_iter().map(|(name, value)| About { name, value }).collect(),
            warnings: report.warnings,
            sections: report.sections.into_iter().map(SectionView::from).collect(),
            entries: report.entries,
        }
    }
}

pub(super) async fn report(
    State(app): State<Arc<App>>,
    who: Who,
    Path(name): Path<String>,
    RawQuery(query): RawQuery,
) -> Result<Response, Problem> {
    let kind = kind(&name)?;
    let (format, fields) = format_of(query.as_deref())?;
    let asked: Asked = serde_urlencoded::from_str(&fields).map_err(Problem::unusable)?;
    match format.as_deref() {
        None | Some("json") => {
            let report = app.report(kind, &asked).await?;
            Ok(Json(ReportView::from(report)).into_response())
        }
        Some("csv") => {
            who.needs(Right::Download)?;
            let report = app.report(kind, &asked).await?;
            let name = format!("{}.csv", kind.name());
            Ok((download("text/csv; charset=utf-8", &name)?, report.csv()).into_response())
        }
        Some(other) => Err(Problem::unusable(format!("format: {other:?}: expected csv or json"))),
    }
}
