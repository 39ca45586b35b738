//! A report as one HTML file: for a screen of any width, light or dark, and for paper.

use super::document::{Figure, Report, Section, entry_ranges};
use std::fmt::Write;

/// What everyone has to know who reads a report.
const CAUTIONS: [&str; 4] = [
    "Measurements support inspection and do not replace it; the responsible licensed person decides.",
    "Local codes and the current edition of the standard prevail over the tables in this program.",
    "Tables were entered from published summaries: check them against your own copy before use.",
    "Safety eyewear has other standards (impact, marking) that this does not judge.",
];

/// Entry numbers up to this many stand open in the file; more are folded away.
const SHOWN: usize = 1000;

const LOOK: &str = "\
:root{color-scheme:light dark;--ink:#1c2126;--quiet:#5a636b;--paper:#fff;--line:#d5dade;--tint:#f3f5f7;--warn:#9a3b12;\
--plot-paper:var(--paper)}\
@media (prefers-color-scheme:dark){:root{--ink:#e6e9ec;--quiet:#9aa4ad;--paper:#15191d;--line:#353c43;--tint:#1e2429;\
--warn:#f0a07a}}\
*{box-sizing:border-box}\
body{margin:0;background:var(--paper);color:var(--ink);font:15px/1.5 system-ui,'DejaVu Sans',Helvetica,Arial,sans-serif}\
main{max-width:56rem;margin:0 auto;padding:1.5rem 1.25rem 3rem}\
h1{font-size:1.6rem;line-height:1.2;margin:0 0 .75rem}\
h2{font-size:1.15rem;margin:2.25rem 0 .5rem;padding-top:.75rem;border-top:1px solid var(--line)}\
p{margin:.4rem 0;max-width:44rem}\
dl{display:grid;grid-template-columns:max-content 1fr;gap:.1rem 1rem;margin:0 0 1rem}\
dt{color:var(--quiet)}dd{margin:0;overflow-wrap:anywhere}\
.warnings{border-left:4px solid var(--warn);background:var(--tint);padding:.5rem .9rem;margin:1rem 0}\
.scroll{overflow-x:auto}\
table{border-collapse:collapse;width:100%;font-variant-numeric:tabular-nums;margin:.5rem 0 1rem}\
th,td{padding:.28rem .6rem;text-align:right;border-bottom:1px solid var(--line);vertical-align:top;white-space:nowrap}\
th{color:var(--quiet);font-weight:500}\
th:first-child,td:first-child,.note,.none{text-align:left;white-space:normal}\
td:first-child{min-width:7.5rem}td.note{color:var(--quiet);min-width:9rem}td.none{color:var(--warn)}.none.right{text-align:right}\
td .within{display:block;font-size:.8rem;color:var(--quiet)}\
figure{margin:1rem 0}figure svg{display:block;width:100%;max-width:47.5rem;height:auto}\
.entries{font-size:.85rem;color:var(--quiet);overflow-wrap:anywhere;max-width:none}\
footer{margin-top:2.5rem;padding-top:.75rem;border-top:1px solid var(--line);font-size:.85rem;color:var(--quiet)}\
footer p{max-width:none}\
@media (max-width:34rem){main{padding:1rem .8rem 2rem}dl{grid-template-columns:1fr}dd{margin-bottom:.35rem}\
th,td{padding:.25rem .3rem;font-size:.82rem}td:first-child{min-width:5.5rem}figure{overflow-x:auto}figure svg{min-width:32rem}}\
@page{margin:16mm 14mm}\
@media print{:root{--ink:#000;--quiet:#444;--paper:#fff;--line:#bbb;--tint:#f3f5f7;--warn:#7a2d0d;color-scheme:light}\
body{font-size:10.5pt}main{max-width:none;padding:0}h1{font-size:17pt}h2{break-after:avoid}\
figure,tr,.warnings,footer{break-inside:avoid}figure svg{max-width:130mm;margin:0 auto}.scroll{overflow:visible}\
td.note{min-width:0}}";

pub(super) fn escape(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in text.chars() {
        match c {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            c if c.is_control() => out.push(' '),
            c => out.push(c),
        }
    }
    out
}

pub(super) fn document(report: &Report) -> String {
    let mut out = String::new();
    write(&mut out, report).expect("writing into a String cannot fail");
    out
}

fn write(out: &mut String, report: &Report) -> std::fmt::Result {
    let title = escape(&report.title);
    write!(
        out,
        "<!DOCTYPE html>\n<html lang=\"en\"><head><meta charset=\"utf-8\"/>\
         <meta name=\"viewport\" content=\"width=device-width, initial-scale=1\"/>\
         <title>{title}</title><style>{LOOK}</style></head>\n<body><main><h1>{title}</h1>\n<dl>"
    )?;
    for (name, value) in &report.about {
        write!(out, "<dt>{}</dt><dd>{}</dd>", escape(name), escape(value))?;
    }
    out.push_str("</dl>\n");
    if !report.warnings.is_empty() {
        out.push_str("<div class=\"warnings\" role=\"note\">");
        for warning in &report.warnings {
            write!(out, "<p>{}</p>", escape(warning))?;
        }
        out.push_str("</div>\n");
    }
    for part in &report.sections {
        section(out, part)?;
    }
    out.push_str("<section><h2>Entries</h2>");
    let numbers = entry_ranges(&report.entries);
    match report.entries.len() {
        0 => out.push_str("<p>No entry of the ledger lies in this range.</p>"),
        n if n <= SHOWN => {
            write!(
                out,
                "<p>This report rests on {n} entries of the ledger:</p><p class=\"entries\">{numbers}</p>"
            )?;
        }
        n => write!(
            out,
            "<p>This report rests on {n} entries of the ledger; the CSV file names them too.</p>\
             <details><summary>All {n}</summary><p class=\"entries\">{numbers}</p></details>"
        )?,
    }
    out.push_str("</section>\n<footer>");
    for caution in CAUTIONS {
        write!(out, "<p>{caution}</p>")?;
    }
    out.push_str("</footer></main></body></html>\n");
    Ok(())
}

fn section(out: &mut String, section: &Section) -> std::fmt::Result {
    write!(out, "<section><h2>{}</h2>", escape(&section.heading))?;
    for words in &section.says {
        write!(out, "<p>{}</p>", escape(words))?;
    }
    grid(out, section)?;
    list(out, section)?;
    for plot in &section.plots {
        write!(out, "<figure>{plot}</figure>")?;
    }
    out.push_str("</section>\n");
    Ok(())
}

/// Figures that stand in columns: a row for each thing. What a cell lacks is said at the row's end.
fn grid(out: &mut String, section: &Section) -> std::fmt::Result {
    let mut columns: Vec<&str> = Vec::new();
    let mut rows: Vec<(&str, Vec<&Figure>)> = Vec::new();
    for figure in &section.figures {
        let Some(column) = figure.column else { continue };
        if !columns.contains(&column) {
            columns.push(column);
        }
        match rows.iter_mut().find(|(name, _)| *name == figure.name) {
            Some((_, cells)) => cells.push(figure),
            None => rows.push((&figure.name, vec![figure])),
        }
    }
    if rows.is_empty() {
        return Ok(());
    }
    out.push_str("<div class=\"scroll\"><table><thead><tr><th></th>");
    for column in &columns {
        write!(out, "<th>{}</th>", escape(column))?;
    }
    let has_note = rows.iter().flat_map(|(_, cells)| cells).any(|figure| !figure.note.is_empty());
    let note_head = if has_note { "<th class=\"note\"></th>" } else { "" };
    write!(out, "<th>n</th>{note_head}</tr></thead><tbody>")?;
    for (name, cells) in rows {
        write!(out, "<tr><td>{}</td>", escape(name))?;
        let mut notes: Vec<&str> = Vec::new();
        for column in &columns {
            let figure = cells.iter().find(|figure| figure.column == Some(column));
            cell(out, figure.copied())?;
            let note = figure.map(|figure| figure.note.as_str()).unwrap_or_default();
            if !note.is_empty() && !notes.contains(&note) {
                notes.push(note);
            }
        }
        let n = cells.iter().find_map(|figure| figure.n).map(|n| n.to_string());
        write!(out, "<td>{}</td>", n.unwrap_or_default())?;
        if has_note {
            write!(out, "<td class=\"note\">{}</td>", escape(&notes.join("; ")))?;
        }
        out.push_str("</tr>");
    }
    out.push_str("</tbody></table></div>");
    Ok(())
}

fn cell(out: &mut String, figure: Option<&Figure>) -> std::fmt::Result {
    let Some(figure) = figure else { return out.write_str("<td></td>") };
    let Some(value) = figure.value else { return out.write_str("<td class=\"none right\">none</td>") };
    write!(out, "<td>{} {}", number(value, figure.unit), sign(figure.unit))?;
    if let Some(words) = interval(figure) {
        write!(out, "<span class=\"within\">{words}</span>")?;
    }
    out.write_str("</td>")
}

fn interval(figure: &Figure) -> Option<String> {
    let within = figure.interval?;
    Some(format!("{} to {}", number(within.low, figure.unit), number(within.high, figure.unit)))
}

/// Figures that stand by themselves, a row each.
fn list(out: &mut String, section: &Section) -> std::fmt::Result {
    let figures = || section.figures.iter().filter(|figure| figure.column.is_none());
    if figures().next().is_none() {
        return Ok(());
    }
    let has_n = figures().any(|figure| figure.n.is_some());
    let has_interval = figures().any(|figure| figure.interval.is_some());
    let head = |shown: bool, words: &'static str| if shown { words } else { "" };
    write!(
        out,
        "<div class=\"scroll\"><table><thead><tr><th></th><th>value</th>{}{}<th class=\"note\"></th></tr></thead><tbody>",
        head(has_interval, "<th>95 % interval</th>"),
        head(has_n, "<th>n</th>")
    )?;
    for figure in figures() {
        row(out, figure, has_interval, has_n)?;
    }
    out.push_str("</tbody></table></div>");
    Ok(())
}

fn row(out: &mut String, figure: &Figure, has_interval: bool, has_n: bool) -> std::fmt::Result {
    write!(out, "<tr><td>{}</td>", escape(&figure.name))?;
    let Some(value) = figure.value else {
        let columns = 2 + usize::from(has_interval) + usize::from(has_n);
        return write!(out, "<td class=\"none\" colspan=\"{columns}\">{}</td></tr>", escape(&figure.note));
    };
    write!(out, "<td>{} {}</td>", number(value, figure.unit), sign(figure.unit))?;
    if has_interval {
        write!(out, "<td>{}</td>", interval(figure).unwrap_or_default())?;
    }
    if has_n {
        write!(out, "<td>{}</td>", figure.n.map(|n| n.to_string()).unwrap_or_default())?;
    }
    write!(out, "<td class=\"note\">{}</td></tr>", escape(&figure.note))
}

/// A unit as people write it.
fn sign(unit: &str) -> &str {
    match unit {
        "deg" => "°",
        "prism-D" => "Δ",
        other => other,
    }
}

/// A number with as many decimals as say something in its unit.
fn number(value: f64, unit: &str) -> String {
    let decimals = match unit {
        "deg" => 2,
        "%" => 1,
        "" if value.fract() == 0.0 => 0,
        "" => 3,
        _ => 4,
    };
    let text = format!("{value:.decimals$}");
    // A minus that is a minus, and none before nothing.
    let is_zero = text.chars().all(|c| matches!(c, '-' | '0' | '.'));
    if is_zero { text.trim_start_matches('-').to_owned() } else { text.replace('-', "\u{2212}") }
}
