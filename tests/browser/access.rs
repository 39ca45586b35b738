//! For everybody: every page at every width, in light and dark, by the keyboard alone.
//!
//! axe-core checks names, landmarks, contrast and the rest of WCAG 2.2 A and AA that a program can.

use crate::chrome::{Browser, ENTER, SPACE};
use crate::common::page::{Bench, FAILS, ORDER, PASSES, Visitor, WORDS};
use serde_json::Value;
use std::path::Path;

/// As much as there is to be seen: passes, fails, waiting and unread things, an override.
fn with_everything(bench: &Bench) -> (crate::common::Station, String) {
    let (mut station, url) = bench.start();
    let admin = Visitor::signed_in(&url, "admin person");
    let pair = r#"{"job":"4473","lens":"progressive","mounted":true,
        "right":{"sphere":1.00,"cylinder":0.50,"axis":10,"addition":2.00,"prism":[{"amount":0.50,"base":"in"}],"pd":31.5},
        "left":{"sphere":1.75,"addition":2.00,"pd":31.0}}"#;
    for order in [ORDER, pair] {
        assert_eq!(admin.post("/api/v1/orders", order).status, 201);
    }
    bench.focimeter.send(PASSES.replace("EYE", "JOB=4471 EYE"));
    station.line(&["4471", "PASS"]);
    bench.focimeter.send(FAILS.replace("EYE", "JOB=4471 EYE"));
    station.line(&["4471", "FAIL"]);
    bench.scanner.send("4473\r");
    station.line(&["4473", "chosen"]);
    bench.focimeter.send("EYE=R S=+1.50 C=-0.50 A=100 N=+2.00 PX=+0.45 PY=+0.00 PD=31.5\r\n");
    station.line(&["4473"]);
    let reference =
        r#"{"lens":{"name":"REF+5","serial":"T-105","sphere":5.00,"uncertainty":0.01,"due":"2026-01-01"}}"#;
    assert_eq!(admin.post("/api/v1/reference-lenses", reference).status, 201);
    bench.focimeter.send("JOB=REF+5 EYE=R S=+5.01\r\n");
    station.line(&["REF+5", "overdue"]);
    for (purpose, lens) in [("production", "4471"), ("production", "4473"), ("practice", "REF+5")] {
        let eye = if purpose == "production" { r#""eye":"right","# } else { "" };
        let read = format!(
            r#"{{"job":"{lens}",{eye}"purpose":"{purpose}","start":{{"eyepiece_focused":true,"zero":0.12}},
                "read":{{"sphere":-1.25,"cylinder":-0.50,"axis":92}}}}"#
        );
        assert_eq!(admin.post("/api/v1/manual-readings", &read).status, 201);
    }
    bench.focimeter.send("S=+1.75\r\nnonsense\r\n");
    station.line(&["not read"]);
    (station, url)
}

fn signed_in(url: &str) -> Browser {
    let browser = Browser::open(url);
    browser.go("/sign-in");
    browser.fill("#name", "admin person");
    browser.fill("#passphrase", &format!("{WORDS}{ENTER}"));
    browser.wait_text(".band", &[""]);
    browser
}

/// Every page, with something on it.
fn pages(url: &str) -> Vec<String> {
    let admin = Visitor::signed_in(url, "admin person");
    let newest = |query: &str| {
        let found = admin.get(&format!("/api/v1/entries?{query}")).json();
        found["entries"][0]["entry"]["seq"].to_string()
    };
    let verdict = newest("outcome=fail");
    let reading = admin.get(&format!("/api/v1/entries/{verdict}")).json()["payload"]["basis"]["readings"][0]
        .to_string();
    let rules = admin.get("/api/v1/in-force").json()[1]["hash"].as_str().expect("a hash").to_owned();
    let mut pages: Vec<String> = [
        "/",
        "/commands",
        "/jobs",
        "/jobs/4471",
        "/jobs/4473",
        "/jobs/4471/certificate",
        "/orders/new",
        "/orders/new?job=4473",
        "/ledger",
        "/ledger?before=x",
        "/instruments",
        "/reports",
        "/reports/agreement",
        "/reports/gauge?tolerance=x",
        "/reports/capability",
        "/reports/pareto",
        "/practice",
        "/reference",
        "/jobs/4471/manual",
        "/jobs/4471/manual?look=right",
        "/layouts",
        "/layouts/learn",
        "/layouts/tagged?bytes=EYE%3DR+S%3D-1.25+C%3D---%3CCR%3Enonsense%3CCR%3E",
        "/people",
        "/none-such",
    ]
    .map(str::to_owned)
    .into();
    let found = admin.get("/api/v1/jobs/4471").json();
    let history = found["history"].as_array().expect("entries");
    let manual = history.iter().find(|entry| entry["kind"] == "manual").expect("read by hand");
    pages.push(format!("/jobs/4471/manual/{}", manual["seq"]));
    pages.extend([format!("/ledger/{verdict}"), format!("/ledger/{reading}"), format!("/texts/{rules}")]);
    pages
}

fn axe() -> String {
    let file = Path::new(env!("CARGO_MANIFEST_DIR")).join("target/axe/node_modules/axe-core/axe.min.js");
    std::fs::read_to_string(&file)
        .unwrap_or_else(|why| panic!("{}: {why}: contrib/check installs it", file.display()))
}

/// What axe finds wrong with the page, in a line each.
fn violations(browser: &Browser, axe: &str) -> Vec<String> {
    browser.js(axe, vec![]);
    browser.js(
        "window.found = null;
         axe.run(document, { resultTypes: ['violations'] }).then((result) => { window.found = result.violations; });",
        vec![],
    );
    let found = crate::common::wait_for("axe", || {
        let found = browser.js("return window.found", vec![]);
        (!found.is_null()).then_some(found)
    });
    let line = |violation: &Value| {
        let nodes = violation["nodes"].as_array().expect("nodes").iter();
        let nodes: Vec<String> =
            nodes.map(|node| format!("{}: {}", node["html"], node["failureSummary"])).collect();
        format!("{} ({}): {}", violation["id"], violation["help"], nodes.join(" | "))
    };
    found.as_array().expect("a list").iter().map(line).collect()
}

#[test]
fn no_page_shuts_anybody_out() {
    let bench = Bench::with_people();
    let (_station, url) = with_everything(&bench);
    let (browser, axe) = (signed_in(&url), axe());
    let mut wrong = Vec::new();
    for place in pages(&url) {
        for scheme in ["light", "dark"] {
            browser.scheme(scheme);
            for (width, height) in [(1280, 800), (390, 844)] {
                browser.size(width, height);
                browser.go(&place);
                let found = violations(&browser, &axe);
                wrong.extend(found.into_iter().map(|what| format!("{place}, {scheme}, {width}: {what}")));
            }
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
    browser.click_text("Sign out");
    browser.wait_place("/sign-in");
    assert_eq!(violations(&browser, &axe), Vec::<String>::new());
}

#[test]
fn no_page_is_wider_than_its_window_or_breaks_its_own_policy() {
    let bench = Bench::with_people();
    let (_station, url) = with_everything(&bench);
    let browser = signed_in(&url);
    browser.complaints();
    for place in pages(&url) {
        for width in [390, 768, 1280, 1920] {
            browser.size(width, 900);
            browser.go(&place);
            let beyond = "const all = document.documentElement; return all.scrollWidth - all.clientWidth";
            assert_eq!(browser.js(beyond, vec![]), 0, "{place} at {width}");
        }
        browser.wait_text(".cautions", &["responsible licensed person decides"]);
        let missing = |line: &String| !(place == "/none-such" && line.contains("404"));
        let complaints: Vec<String> = browser.complaints().into_iter().filter(missing).collect();
        assert_eq!(complaints, Vec::<String>::new(), "{place}");
    }
}

#[test]
fn everything_is_reached_by_the_keyboard_alone() {
    let bench = Bench::with_people();
    let (_station, url) = with_everything(&bench);
    let browser = Browser::open(&url);
    browser.go("/");
    browser.wait_place("/sign-in");
    assert_eq!(browser.focused(), "name");
    browser.press("admin person");
    browser.tab_to("passphrase");
    browser.press(&format!("{WORDS}{ENTER}"));
    browser.wait_text(".ticket", &["4473"]);
    assert_eq!(browser.focused(), "scan");
    browser.tab_to("Left");
    browser.press(ENTER);
    browser.wait_shown(".ask .huge", false);
    browser.tab_to("Void a reading");
    browser.press(SPACE);
    browser.tab_to("void-reason");
    browser.press("by the keyboard");
    browser.tab_to("Void");
    browser.press(ENTER);
    browser.wait_text(".band", &["Still missing: Left: sphere meridian"]);
    // From the top: past the head with one press.
    browser.go("/ledger");
    browser.js("document.activeElement.blur()", vec![]);
    browser.tab_to("To the content");
    browser.press(ENTER);
    browser.tab_to("job");
    browser.press("4473");
    browser.tab_to("outcome");
    browser.press("i");
    browser.wait_text("#results", &["incomplete"]);
    browser.tab_to("Clear");
    browser.press(ENTER);
    browser.wait_place("/ledger");
    browser.tab_to("Layouts");
    browser.press(ENTER);
    browser.tab_to("strip");
    browser.press(ENTER);
    browser.wait_place("/layouts/strip");
    browser.tab_to("form-text");
    browser.press("\u{e014}");
    browser.wait_text("#results", &[""]);
    browser.tab_to("Sign out");
    browser.press(ENTER);
    browser.wait_place("/sign-in");
}
