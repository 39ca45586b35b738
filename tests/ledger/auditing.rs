//! Views, exports and copies: what an auditor gets.

use super::{ledger_of, morning, place, sample::*};
use fociline::bench::entry::Seq;
use fociline::ledger::{Format, Ledger, LedgerError, Reader, Table, verify};
use rusqlite::Connection;
use std::process::Command;

/// The columns are a contract: they are only ever added, at the end.
#[test]
fn the_views_columns_stand_in_their_order() {
    let (place, _) = ledger_of(morning());
    let raw = Connection::open(&place.path).unwrap();
    for (view, columns) in [
        ("entries", "seq time kind payload prev hash"),
        ("frames", "seq time instrument bytes ended layout reject"),
        (
            "readings",
            "seq time frame instrument job job_from eye sphere cylinder axis addition second_addition prism pd near_pd \
             segment_height reference_height transmittance mode vertex sent_sphere sent_cylinder sent_axis operator \
             serial instrument_time reference_line faults checksum_verified",
        ),
        (
            "orders",
            "seq time job revision source dropped lens mounted eye sphere cylinder axis addition second_addition prism \
             pd near_pd segment_height reference_height",
        ),
        (
            "verdicts",
            "seq time job rules outcome items failed decision order_entry reading_entries rules_hash software notes \
             held check_entries",
        ),
        (
            "verdict_items",
            "seq time item job eye quantity ordered measured deviation limit_value unit outcome clause notes",
        ),
        (
            "crosschecks",
            "seq time job eye person instrument manual_entry reading_entry distance axis_deviation agrees reason \
             outcome suspect meridian axis_weighted m j0 j45 addition prism limits_hash",
        ),
        (
            "instrument_checks",
            "seq time instrument person lens reading_entry quantity expected measured deviation limit_value unit outcome \
             check_outcome lens_entry limits_hash",
        ),
        ("events", "seq time kind subject what job person reason hash payload"),
        ("job_entries", "job seq"),
    ] {
        let statement = raw.prepare(&format!("SELECT * FROM {view}")).unwrap();
        assert_eq!(statement.column_names().collect::<Vec<_>>().join(" "), columns, "{view}");
    }
}

/// The rows of a query, a line for each, values by `|`.
fn rows(place: &super::Place, sql: &str) -> Vec<String> {
    let raw = Connection::open(&place.path).unwrap();
    let mut statement = raw.prepare(sql).unwrap();
    let columns = statement.column_count();
    let line = |row: &rusqlite::Row<'_>| {
        let value = |column| {
            Ok(match row.get::<_, rusqlite::types::Value>(column)? {
                rusqlite::types::Value::Null => String::new(),
                rusqlite::types::Value::Integer(number) => number.to_string(),
                rusqlite::types::Value::Real(number) => number.to_string(),
                rusqlite::types::Value::Text(text) => text,
                rusqlite::types::Value::Blob(_) => unreachable!("no view has blobs"),
            })
        };
        Ok((0..columns).map(value).collect::<rusqlite::Result<Vec<_>>>()?.join("|"))
    };
    statement.query_map([], line).unwrap().map(Result::unwrap).collect()
}

#[test]
fn the_views_give_what_was_recorded() {
    let (place, _) = ledger_of(morning());
    assert_eq!(
        rows(&place, "SELECT seq, time, instrument, bytes, ended, reject FROM frames"),
        [
            "6|2026-03-02T07:00:06.000000Z|focimeter-1|R 1<CR><LF>|complete|",
            "9|2026-03-02T07:00:09.000000Z|focimeter-2|<STX>R 2<CR><LF>|complete|"
        ]
    );
    assert_eq!(
        rows(
            &place,
            "SELECT seq, frame, instrument, job, job_from, eye, sphere, cylinder, axis, addition, prism, pd, mode,
             sent_sphere, sent_cylinder, sent_axis, operator, faults, checksum_verified FROM readings"
        ),
        [
            r#"7|6|focimeter-1|4471|frame|right|-1.25|-0.5|91|2|[{"amount":0.40,"base":"in"},{"amount":0.25,"base":37.5}]|31.5|distance|-1.75|0.5|1|A. Thorne|["E2"]|1"#,
            r#"7|6|focimeter-1|4471|frame|left|-2||||[]|||-2|||A. Thorne|["E2"]|1"#,
            r#"10|9|focimeter-2||nobody|right|-1.25|-0.5|91|2|[{"amount":0.40,"base":"in"},{"amount":0.25,"base":37.5}]|31.5|distance|-1.75|0.5|1||["E2"]|1"#,
            r#"10|9|focimeter-2||nobody|left|-2||||[]|||-2||||["E2"]|1"#,
        ]
    );
    assert_eq!(
        rows(
            &place,
            "SELECT seq, job, revision, source, dropped, lens, mounted, eye, sphere, axis FROM orders WHERE job = '4471'"
        ),
        [
            r#"4|4471|1|tray.csv, line 2|["name"]|progressive|1|right|-1.25|90"#,
            r#"4|4471|1|tray.csv, line 2|["name"]|progressive|1|left|-2|"#,
            r#"16|4471|2|tray.csv, line 2|["name"]|progressive|1|right|-1.25|90"#,
            r#"16|4471|2|tray.csv, line 2|["name"]|progressive|1|left|-2|"#,
        ]
    );
    assert_eq!(
        rows(&place, "SELECT seq, job, outcome, items, failed, order_entry, reading_entries FROM verdicts"),
        ["8|4471|fail|12|2|4|[7]", "13|4480|pass|12|0|11|[10]", "15|4480|pass|12|0|11|[7,10]"]
    );
    assert_eq!(
        rows(
            &place,
            "SELECT seq, item, job, eye, quantity, ordered, measured, deviation, limit_value, unit, clause
             FROM verdict_items WHERE outcome = 'fail'"
        ),
        [
            "8|3|4471|right|axis|-1.25|-1.5|-0.25|0.13|D|5.1.1 table 1",
            "8|8|4471|left|axis|-1.25|-1.5|-0.25|0.13|D|5.1.1 table 1"
        ]
    );
    assert_eq!(
        rows(&place, "SELECT seq, kind, subject, what, job, person, reason FROM events"),
        [
            "1|software|0.1.0|started|||",
            "2|in-force|tagged|layout|||",
            "3|port|focimeter-1|lost|||unplugged",
            "5|job|||4471|scanner-1|",
            "12|note|10|assign|4480|B. Lund|laid on the wrong tray",
            "14|note|7|assign|4480|B. Lund|laid on the wrong tray",
            "17|clock||-2.5|||",
        ]
    );
    assert_eq!(
        rows(
            &place,
            "SELECT seq FROM verdicts WHERE seq IN (SELECT seq FROM job_entries WHERE job = '4471')"
        ),
        ["8"]
    );
}

#[test]
fn checks_are_shown_a_row_for_each_quantity() {
    let (place, _) = ledger_of(morning());
    let raw = Connection::open(&place.path).unwrap();
    let add = |seq: i64, kind: &str, payload: &str| {
        raw.execute(
            "INSERT INTO entries VALUES (?1, '2026-03-02T08:00:00.000000Z', ?2, ?3, zeroblob(32), zeroblob(32))",
            (seq, kind, payload),
        )
        .unwrap();
    };
    add(
        18,
        "cross-check",
        r#"{"job":"4471","eye":"left","by":"B. Lund","instrument":"focimeter-1","manual":17,"reading":7,
            "readings":[7],"difference":{"m":0.01,"j0":0.02,"j45":-0.03,"distance":0.06,"meridian":0.05,"axis":1,
            "axis_weighted":0.04},"outcome":"agree","reasons":["at its limit"],"limits":"abcd"}"#,
    );
    add(
        19,
        "instrument-check",
        r#"{"instrument":"focimeter-1","by":"A. Thorne","lens":"+5.00","lens_entry":2,"reading":7,"outcome":"bad",
            "items":[{"quantity":"sphere-meridian","expected":5.00,"measured":5.03,"deviation":0.03,"limit":0.06,
            "unit":"D","outcome":"pass","figures":""},{"quantity":"second-meridian","expected":5.00,"measured":5.09,
            "deviation":0.09,"limit":0.06,"unit":"D","outcome":"fail","figures":""}],"limits":"abcd"}"#,
    );
    let time = "2026-03-02T08:00:00.000000Z";
    assert_eq!(
        rows(&place, "SELECT * FROM crosschecks"),
        [format!(
            "18|{time}|4471|left|B. Lund|focimeter-1|17|7|0.06|1|1|[\"at its limit\"]|agree||0.05|0.04|0.01|0.02|-0.03|||abcd"
        )]
    );
    assert_eq!(
        rows(&place, "SELECT * FROM instrument_checks"),
        [
            format!(
                "19|{time}|focimeter-1|A. Thorne|+5.00|7|sphere-meridian|5|5.03|0.03|0.06|D|pass|bad|2|abcd"
            ),
            format!(
                "19|{time}|focimeter-1|A. Thorne|+5.00|7|second-meridian|5|5.09|0.09|0.06|D|fail|bad|2|abcd"
            )
        ]
    );
    assert_eq!(rows(&place, "SELECT count(*) FROM events"), ["7"]);
}

#[test]
fn an_export_holds_every_row() {
    let (place, entries) = ledger_of(morning());
    let reader = Reader::open(&place.path).unwrap();
    let export = |table, range, format| {
        let mut out = Vec::new();
        let rows = reader.export(table, range, format, &mut out).unwrap();
        (rows, String::from_utf8(out).unwrap())
    };
    let (rows, lines) = export(Table::Entries, Seq(1)..=Seq(u64::MAX), Format::JsonLines);
    assert_eq!(rows, 17);
    let mut before = "0".repeat(64);
    for (line, numbered) in lines.lines().zip(&entries) {
        let line: serde_json::Value = serde_json::from_str(line).unwrap();
        assert_eq!(line["seq"], numbered.seq.0);
        assert_eq!(line["payload"], numbered.entry.payload());
        assert_eq!(line["prev"], before);
        before = line["hash"].as_str().unwrap().to_owned();
    }
    let (rows, csv) = export(Table::VerdictItems, Seq(8)..=Seq(8), Format::Csv);
    assert_eq!(rows, 12);
    let mut csv = csv::Reader::from_reader(csv.as_bytes());
    let column = csv.headers().unwrap().iter().position(|name| name == "deviation").unwrap();
    let deviations: Vec<String> = csv.records().map(|row| row.unwrap()[column].to_owned()).collect();
    assert_eq!(deviations[..4], ["-0.06", "-0.06", "-0.06", "-0.25"]);
    for table in Table::ALL {
        let (rows, csv) = export(table, Seq(1)..=Seq(u64::MAX), Format::Csv);
        assert_eq!(
            csv::Reader::from_reader(csv.as_bytes()).records().map(Result::unwrap).count() as u64,
            rows
        );
    }
}

#[test]
fn a_backup_is_a_ledger_as_it_stood() {
    let (place, _) = ledger_of(morning());
    let mut writer = Ledger::open(&place.path).unwrap();
    let reader = Reader::open(&place.path).unwrap();
    let copy = place.path.with_file_name("copy.ledger");
    let mut pages = (0, 0);
    let head = reader.backup(&copy, |done, of| pages = (done, of)).unwrap();
    assert_eq!(head, writer.head());
    writer.append(&numbered(17, seven(), [order("4490", 1)])).unwrap();
    let copied = Reader::open(&copy).unwrap();
    assert_eq!(copied.head().unwrap(), head);
    assert!(verify(&copied, &[head.checkpoint()], |_, _| {}).unwrap().is_sound());
    let before = std::fs::read(&copy).unwrap();
    assert!(matches!(reader.backup(&copy, |_, _| {}), Err(LedgerError::Exists { .. })));
    assert_eq!(std::fs::read(&copy).unwrap(), before);
    drop(copied);
    let mut restored = Ledger::open(&copy).unwrap();
    restored.append(&numbered(17, seven(), [order("4491", 1)])).unwrap();
}

/// An auditor's own client may read a ledger while a station writes it. Were its locks lost, the
/// client would take itself for the last one and remove the log that the station goes on writing to.
#[test]
fn another_program_that_reads_takes_nothing_away() {
    let place = place();
    let mut ledger = Ledger::open(&place.path).unwrap();
    let (first, later) = (numbered(0, seven(), morning()), numbered(17, seven(), morning()));
    ledger.append(&first).unwrap();
    let _record = Reader::open(&place.path).unwrap();
    let count = || {
        let script = "import sqlite3, sys\nc = sqlite3.connect(sys.argv[1])\n\
                      print(c.execute('select count(*) from entries').fetchone()[0])\nc.close()";
        let asked = Command::new("python3").args(["-c", script]).arg(&place.path).output().unwrap();
        assert!(asked.status.success(), "{}", String::from_utf8_lossy(&asked.stderr));
        String::from_utf8(asked.stdout).unwrap().trim().to_owned()
    };
    assert_eq!(count(), "17");
    ledger.append(&later).unwrap();
    assert_eq!(count(), "34");
    assert_eq!(Reader::open(&place.path).unwrap().head().unwrap().seq, Seq(34));
}
