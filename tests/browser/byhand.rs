//! Readings by hand, practice, reference lenses and reports.

use crate::chrome::Browser;
use crate::common::Station;
use crate::common::page::{Bench, ORDER, PASSES, Visitor};
use serde_json::{Value, json};

/// A station whose instrument has measured the right lens of job 4471.
fn measured(bench: &Bench) -> (Station, Visitor, Browser) {
    let (mut station, url) = bench.start();
    let visitor = Visitor::new(&url);
    assert_eq!(visitor.post("/api/v1/orders", ORDER).status, 201);
    bench.focimeter.send(PASSES.replace("EYE", "JOB=4471 EYE"));
    station.line(&["4471", "PASS"]);
    let browser = Browser::open(&url);
    (station, visitor, browser)
}

fn newest(visitor: &Visitor, job: &str, kind: &str) -> Value {
    let found = visitor.get(&format!("/api/v1/entries?job={job}")).json();
    let hits = found["entries"].as_array().expect("some").clone();
    let hit = hits.into_iter().find(|hit| hit["entry"]["kind"] == kind);
    hit.unwrap_or_else(|| panic!("no {kind}: {found}"))["entry"].clone()
}

/// Begins a sitting as A. Thorne.
fn begin(browser: &Browser) {
    browser.click("label[for=eyepiece]");
    browser.fill("#zero", "0.00");
    browser.fill("#by", "A. Thorne");
}

#[test]
fn a_lens_is_read_by_its_drum_and_compared_once_it_is_on_record() {
    let bench = Bench::open();
    let (_station, visitor, browser) = measured(&bench);
    browser.go("/jobs/4471/manual");
    let page = browser.wait_text("main", &["Right", "blind: its value was not shown to you"]);
    assert!(!page.contains("1.25") && !page.contains("× 90"), "the instrument's value is hidden: {page}");
    browser.click("label[for=eye-right]");
    browser.fill("#sphere_lines", "-1,25");
    browser.fill("#cylinder_lines", "-1.75 x");
    browser.fill("#by", "A. Thorne");
    browser.click_text("Record the reading");
    browser.wait_text(".problem", &["cannot be taken in", "cylinder lines", "a number is expected"]);
    browser.fill("#cylinder_lines", "-1.75");
    begin(&browser);
    browser.click_text("Record the reading");
    browser.wait_text(".problem", &["a cylinder without an axis"]);
    let page = browser.text("main");
    assert!(!page.contains("focimeter-1"), "still hidden: {page}");
    browser.fill("#wheel", "92");
    browser.fill("#prism", "none");
    browser.click_text("Record the reading");
    browser.wait_place("/jobs/4471/manual/");
    browser.wait_text(".stand", &["agree"]);
    browser.wait_text(
        "main",
        &[
            "sphere lines −1.25, cylinder lines −1.75, axis wheel 92°",
            "−1.25 −0.50 × 92",
            "focimeter-1: −1.25 −0.50 × 90",
            "Dioptric distance 0.017 D",
            "Largest in any meridian 0.017 D",
            "Axis +2°",
            "the axes are 2 degrees apart",
            "prism not compared: the instrument sent none",
            "yes: the instrument's value was not shown before",
            "drum at zero 0.00 D",
        ],
    );
    let manual = newest(&visitor, "4471", "manual");
    assert_eq!((&manual["payload"]["blind"], &manual["payload"]["by"]), (&json!(true), &json!("A. Thorne")));
    assert_eq!(manual["payload"]["start"].to_string(), r#"{"eyepiece_focused":true,"zero":0.00}"#);
    // Now the value is known, and it says so; the same sitting goes on.
    browser.click_text("Read it again");
    browser.wait_text(".eyes", &["Right not blind: its value was shown to you", "Left blind"]);
    assert_eq!(browser.js("return document.getElementById('by').value", vec![]), "A. Thorne");
    assert!(!browser.shows("#zero"), "the eyepiece was focused already");
    browser.click("label[for=eye-right]");
    browser.fill("#sphere", "1.25");
    browser.fill("#cylinder", "-0.50");
    browser.fill("#axis", "90");
    browser.click_text("Record the reading");
    browser.wait_text(".stand", &["different lens likely", "plus and minus mixed up"]);
    assert_eq!(newest(&visitor, "4471", "manual")["payload"]["blind"], false);
    browser.go("/jobs/4471");
    browser.wait_text("#manual ~ table", &["A. Thorne, blind", "Agree", "Different lens likely"]);
    assert_eq!(
        browser.complaints().into_iter().filter(|c| !c.contains("422")).collect::<Vec<_>>(),
        Vec::<String>::new()
    );
}

#[test]
fn a_reading_that_came_first_is_compared_when_the_instrument_has_measured() {
    let bench = Bench::open();
    let (mut station, visitor, browser) = measured(&bench);
    browser.go("/jobs/4471/manual?eye=left");
    assert_eq!(browser.js("return document.getElementById('eye-left').checked", vec![]), true);
    begin(&browser);
    browser.fill("#sphere", "-1.00");
    browser.click_text("Record the reading");
    browser.wait_text("main", &["No instrument has measured this lens yet"]);
    let result = browser.place();
    bench.focimeter.send("JOB=4471 EYE=L S=-1.12\r\n");
    station.line(&["4471"]);
    visitor.get("/api/v1/station");
    crate::common::wait_for("the reading", || {
        browser.go(&result);
        browser.text("main").contains("compare, and both are shown").then_some(())
    });
    assert!(!browser.text("main").contains("1.12"));
    browser.click_text("Compare now");
    browser.wait_text(".stand", &["differ within tolerance"]);
    browser.wait_text("main", &["focimeter-1: −1.12", "0.12 D", "up to 0.13: within tolerance"]);
    assert_eq!(newest(&visitor, "4471", "cross-check")["payload"]["eye"], "left");
}

#[test]
fn who_looks_first_does_not_read_blind() {
    let bench = Bench::open();
    let (_station, visitor, browser) = measured(&bench);
    browser.go("/jobs/4471/manual");
    browser.click("#look summary");
    browser.wait_text("#look", &["recorded as not blind"]);
    browser.click_text("See the instrument's value first: Right");
    browser.wait_text(".looked", &["Right", "focimeter-1: −1.25 −0.50 × 90"]);
    browser.wait_text(".eyes", &["Right not blind"]);
    begin(&browser);
    browser.fill("#sphere", "-1.25");
    browser.click_text("Record the reading");
    browser.wait_text("main", &["no: the instrument's value was known"]);
    assert_eq!(newest(&visitor, "4471", "manual")["payload"]["blind"], false);
    // Seen elsewhere, the reader says so.
    browser.go("/jobs/4471/manual?eye=left");
    begin(&browser);
    browser.fill("#sphere", "1.00");
    browser.click("label[for=seen]");
    browser.click_text("Record the reading");
    browser.wait_text("main", &["no: the instrument's value was known"]);
}

#[test]
fn practice_is_kept_sitting_by_sitting_and_reported() {
    let bench = Bench::open();
    let (_station, visitor, browser) = measured(&bench);
    let lens =
        r#"{"by":"B. Lund","lens":{"name":"REF+5","serial":"T-105","sphere":5.00,"due":"2099-01-01"}}"#;
    assert_eq!(visitor.post("/api/v1/reference-lenses", lens).status, 201);
    browser.go("/practice");
    browser.fill("#lens", "REF+5");
    begin(&browser);
    browser.fill("#sitting", "first");
    browser.fill("#sphere_lines", "5.12");
    browser.click_text("Record the reading");
    browser.wait_text("main", &["certified value: +5.00", "Dioptric distance 0.12 D"]);
    assert_eq!(newest(&visitor, "REF", "manual")["payload"]["purpose"], "practice");
    browser.click_text("Next reading");
    assert_eq!(browser.js("return document.getElementById('lens').value", vec![]), "REF+5");
    browser.fill("#sphere_lines", "5.00");
    browser.click_text("Record the reading");
    browser.wait_text("main", &["Dioptric distance 0.00 D"]);
    browser.go("/practice");
    browser.wait_text("#sittings ~ table", &["REF+5", "+5.12", "0.12 D", "0.00 D"]);
    browser.click_text("How it is going: report");
    browser.wait_place("/reports/practice");
    browser.wait_text(".report", &["A. Thorne: sphere meridian", "first", "0.06"]);
}

#[test]
fn reference_lenses_are_registered_and_instruments_shown_as_they_stand() {
    let bench = Bench::open();
    let (mut station, visitor, browser) = measured(&bench);
    browser.go("/instruments");
    browser.click_text("Reference lenses");
    browser.wait_place("/reference");
    browser.wait_text("#standing ~ table", &["focimeter-1", "due", "never checked"]);
    browser.fill("#name", "REF+5");
    browser.fill("#serial", "T-105");
    browser.fill("#sphere", "5,00");
    browser.fill("#axis", "90");
    browser.js("document.getElementById('due').value = '2099-01-01'", vec![]);
    browser.fill("#by", "B. Lund");
    browser.click_text("Put into the register");
    browser.wait_text(".problem", &["an axis without a cylinder"]);
    browser.fill("#axis", "");
    browser.click_text("Put into the register");
    browser.wait_text("#register ~ table", &["REF+5", "T-105", "+5.00", "2099-01-01", "B. Lund"]);
    bench.focimeter.send("JOB=REF+5 EYE=R S=+5.01\r\n");
    station.line(&["REF+5", "good"]);
    browser.wait_text("#standing ~ table", &["focimeter-1", "good", "REF+5: good"]);
    // A reading that was one, though its name was not scanned.
    let reading = newest(&visitor, "4471", "reading")["seq"].to_string();
    browser.fill("#reading", &reading);
    browser.fill("#said-by", "B. Lund");
    browser.click_text("It was a check");
    browser.wait_text("#standing ~ table", &["bad", "the check with REF+5 is bad"]);
    // A bad one that is said not to count has to be made again.
    browser.go(&format!("/ledger/{reading}"));
    browser.fill("#void-reason", "another lens");
    browser.click_text("Void");
    browser.wait_text("#after ~ ul", &["void"]);
    browser.go("/reference");
    browser.wait_text("#standing ~ table", &["focimeter-1", "bad", "has to be made again"]);
    bench.focimeter.send("JOB=REF+5 EYE=R S=+5.00\r\n");
    station.line(&["REF+5", "good"]);
    browser.wait_text("#standing ~ table", &["focimeter-1", "good", "REF+5: good"]);
}

#[test]
fn reports_are_asked_for_by_their_address_and_look_as_the_page_does() {
    let bench = Bench::open();
    let (mut station, visitor, browser) = measured(&bench);
    for (lens, off) in (0..6).zip(["0.00", "0.03", "0.06", "-0.03", "0.00", "0.05"]) {
        let job = format!("45{lens:02}");
        bench.focimeter.send(format!("JOB={job} EYE=R S=+{lens}.00 C=-0.50 A=9{lens}\r\n"));
        crate::common::wait_for("the reading", || {
            (visitor.get(&format!("/api/v1/jobs/{job}")).status == 200).then_some(())
        });
        let sphere = f64::from(lens) + off.parse::<f64>().expect("a number");
        let read = json!({ "by": "A. Thorne", "job": job, "eye": "right", "start": { "eyepiece_focused": true, "zero": 0 },
            "read": { "sphere": sphere, "cylinder": -0.50, "axis": 90 } });
        assert_eq!(visitor.post("/api/v1/manual-readings", &read.to_string()).status, 201);
    }
    station.line(&["4505"]);
    browser.go("/reports");
    browser.js("document.getElementById('since').value = ''", vec![]);
    browser.choose("#first", "A. Thorne");
    browser.choose("#second", "focimeter-1");
    browser.click("button[formaction='/reports/agreement']");
    browser.wait_place("/reports/agreement?");
    assert!(browser.place().contains("first=A.+Thorne"), "{}", browser.place());
    browser.wait_text("h1", &["Agreement of A. Thorne and focimeter-1"]);
    browser.wait_text(
        ".report",
        &[
            "mean sphere",
            "bias",
            "upper limit of agreement",
            "read by focimeter-1 only",
            "This report rests on 12 entries",
        ],
    );
    let entries = browser.text(".report .entries");
    browser.click(".report .entries a");
    browser.wait_place("/ledger/");
    assert!(entries.starts_with(browser.place().trim_start_matches("/ledger/")), "{entries}");
    // The plot is drawn in the page's ink, and nothing of it is blocked.
    browser.go("/reports/agreement?first=A.+Thorne&second=focimeter-1");
    assert!(browser.count(".report figure svg") > 2);
    for scheme in ["light", "dark"] {
        browser.scheme(scheme);
        let inks = browser.js(
            "const of = (css) => getComputedStyle(document.querySelector(css)); \
             return [of('.plot .heading').fill, of('body').color, of('.plot .point').fill, of('.report thead th').textAlign]",
            vec![],
        );
        assert_eq!(inks[0], inks[1], "{scheme}: {inks}");
        assert_eq!((&inks[2], &inks[3]), (&json!("rgb(59, 125, 216)"), &json!("right")), "{scheme}");
    }
    browser.scheme("light");
    let csv = browser.js("return document.querySelector('a[download]').getAttribute('href')", vec![]);
    let csv = visitor.get(csv.as_str().expect("a link"));
    assert!(csv.status == 200 && csv.body.contains("mean sphere,bias,0.018333"), "{}", csv.body);
    browser.click("#about summary");
    browser.js("document.getElementById('until').value = '2000-01-01'", vec![]);
    browser.click_text("Show");
    browser.wait_text(".report", &["No entry of the ledger lies in this range"]);
    for kind in ["agreement", "gauge", "drift", "capability", "practice", "pareto"] {
        browser.go(&format!("/reports/{kind}"));
        browser.wait_text(".report", &["station", "bench-1"]);
    }
    assert_eq!(browser.complaints(), Vec::<String>::new());
    browser.go("/reports/gauge?tolerance=wide");
    browser.wait_text(".problem", &["tolerance", "such as 0.26"]);
    browser.go("/reports/none");
    browser.wait_text(".problem", &["there is no report none"]);
}
