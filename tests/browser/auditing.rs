//! Somebody who looks things up, enters orders and answers for them.

use crate::chrome::{Browser, ENTER};
use crate::common::page::{Bench, FAILS, ORDER, PASSES, Visitor, WORDS};
use crate::common::wait_for;

/// A station on which job 4471 failed and passed and job 4472 has no order.
fn with_a_record(bench: &Bench) -> (crate::common::Station, Visitor, Browser) {
    let (mut station, url) = bench.start();
    let mut visitor = Visitor::new(&url);
    if bench.settings().contains("sign_in = false") {
        assert_eq!(visitor.post("/api/v1/orders", ORDER).status, 201);
    } else {
        visitor = Visitor::signed_in(&url, "quality person");
        assert_eq!(visitor.post("/api/v1/orders", ORDER).status, 201);
    }
    bench.focimeter.send(PASSES.replace("EYE", "JOB=4471 EYE"));
    station.line(&["4471", "PASS"]);
    bench.focimeter.send(FAILS.replace("EYE", "JOB=4471 EYE"));
    station.line(&["4471", "FAIL"]);
    bench.focimeter.send("JOB=4472 EYE=L S=+1.00\r\nnonsense\r\n");
    station.line(&["not read"]);
    let browser = Browser::open(&url);
    (station, visitor, browser)
}

#[test]
fn an_order_is_entered_with_the_checks_of_files_and_corrected() {
    let bench = Bench::open();
    let (_station, visitor, browser) = with_a_record(&bench);
    browser.go("/jobs");
    browser.click_text("New order");
    browser.fill("#job", "4490");
    browser.choose("#lens", "progressive");
    browser.click("label[for=mounted-yes]");
    browser.fill("#right_sphere", "-1,25");
    browser.fill("#right_axis", "270");
    browser.fill("#left_prism", "much");
    browser.click_text("Save the order");
    browser.wait_text(".problem", &["The order cannot be taken in", "left prism"]);
    assert!(browser.focused().contains("cannot be taken in"), "what is wrong is read out");
    let beside = browser.text("#left_prism-wrong");
    assert!(beside.contains("much"), "{beside}");
    assert_eq!(browser.js("return document.getElementById('left_prism').ariaInvalid", vec![]), "true");
    assert_eq!(browser.js("return document.getElementById('right_sphere').value", vec![]), "-1,25");
    assert_eq!(visitor.get("/api/v1/jobs/4490").status, 404, "nothing is half taken in");
    browser.fill("#left_prism", "0.50 in + 0.25 up");
    browser.click_text("Save the order");
    browser.wait_text(".problem", &["right axis", "0 to 180"]);
    browser.fill("#right_axis", "80");
    browser.fill("#right_cylinder", "-0.50");
    browser.fill("#right_addition", "2.00");
    browser.fill("#left_sphere", "plano");
    browser.click_text("Save the order");
    browser.wait_place("/jobs/4490");
    browser.wait_text(
        "main",
        &["progressive, mounted pair", "−1.25 −0.50 × 80 Add +2.00", "Δ 0.50 in + 0.25 up"],
    );
    browser.click_text("Correct the order");
    assert_eq!(browser.js("return document.getElementById('left_prism').value", vec![]), "0.50 in + 0.25 up");
    browser.fill("#right_axis", "85");
    browser.click_text("Save the order");
    browser.wait_place("/jobs/4490");
    browser.wait_text("main", &["revision 2", "× 85", "revision 1", "× 80", "by hand"]);
    let order = visitor.get("/api/v1/jobs/4490").json()["orders"][1]["entry"].clone();
    assert_eq!((&order["revision"], &order["by"]), (&2.into(), &"not signed in".into()));
    browser.click_text("Choose at the bench");
    browser.wait_text(".ticket", &["4490"]);
}

#[test]
fn jobs_are_found_while_typing_and_one_is_shown_with_all_that_happened() {
    let bench = Bench::open();
    let (_station, _visitor, browser) = with_a_record(&bench);
    browser.go("/jobs");
    browser.wait_text("#results", &["2 jobs", "4471", "4472", "no order"]);
    browser.fill("#prefix", "4471");
    browser.wait_text("#results", &["1 jobs"]);
    assert_eq!(browser.place(), "/jobs?prefix=4471");
    browser.click("#results a");
    browser.wait_place("/jobs/4471");
    let page =
        browser.wait_text("main", &["fail", "right axis: off by +20°", "Order and its revisions", "286"]);
    assert_eq!(browser.count("#verdicts ~ table tbody tr"), 2);
    assert_eq!(browser.count("#readings ~ table tbody tr"), 2);
    assert!(page.contains("cylinder axis"), "the clause: {page}");
    // It is live.
    bench.focimeter.send(PASSES.replace("EYE", "JOB=4471 EYE"));
    browser.wait_text("main .stand", &["pass"]);
    browser.click_text("In the ledger");
    browser.wait_place("/ledger?job=4471");
    browser.wait_text("#results", &["Verdict", "Reading", "Order"]);
}

#[test]
fn the_ledger_is_searched_while_typing_and_downloaded() {
    let bench = Bench::open();
    let (_station, visitor, browser) = with_a_record(&bench);
    browser.go("/ledger");
    browser.wait_text("#results", &["Frame", "nonsense", "not read", "Port", "Software"]);
    browser.fill("#job", "4471");
    wait_for("the results", || browser.place().contains("job=4471").then_some(()));
    wait_for("only its entries", || (!browser.text("#results").contains("Software")).then_some(()));
    browser.choose("#outcome", "fail");
    browser.wait_text("#results", &["1 entries", "fail", "right axis"]);
    browser.choose("#out_of_limit", "cylinder");
    browser.wait_text("#results", &["Nothing found"]);
    browser.choose("#out_of_limit", "axis");
    browser.wait_text("#results", &["1 entries"]);
    let links = browser.js(
        "return [...document.querySelectorAll('a[download]')].map((link) => link.getAttribute('href'))",
        vec![],
    );
    let links: Vec<&str> = links.as_array().expect("some").iter().filter_map(|link| link.as_str()).collect();
    assert_eq!(links.len(), 2);
    assert!(
        links.iter().all(
            |link| visitor.get(link).body.contains("\"fail\"") || visitor.get(link).body.contains("fail")
        )
    );
    let csv = visitor.get(links[0]).body;
    assert_eq!((csv.lines().count(), csv.lines().next()), (2, Some("seq,time,kind,jobs,payload")));
    browser.go("/ledger?instrument=focimeter-1&person=&since=2000-01-01&until=2000-01-02");
    browser.wait_text("#results", &["Nothing found"]);
    browser.go("/ledger?since=someday");
    browser.wait_text("#results .problem", &["since", "2026-11-25"]);
    browser.click_text("Clear");
    browser.wait_place("/ledger");
    browser.go("/ledger?limit=5");
    assert_eq!(browser.count("#results tbody tr"), 5);
    let first = browser.text("#results tbody th");
    browser.click_text("Earlier entries");
    wait_for("the next page", || (browser.text("#results tbody th") != first).then_some(()));
    assert_eq!(browser.count("#results tbody tr"), 5);
}

#[test]
fn an_entry_shows_where_it_comes_from_where_it_stands_and_what_came_after() {
    let bench = Bench::open();
    let (_station, visitor, browser) = with_a_record(&bench);
    let found = visitor.get("/api/v1/entries?outcome=fail").json();
    let seq = found["entries"][0]["entry"]["seq"].to_string();
    let entry = visitor.get(&format!("/api/v1/entries/{seq}")).json();
    browser.go(&format!("/ledger/{seq}"));
    let page = browser
        .wait_text("main", &["right axis", "Order as it stood", "ansi-z80.1-2015", "simple acceptance"]);
    for word in [entry["hash"].as_str(), entry["prev"].as_str()] {
        assert!(page.contains(word.expect("a hash")), "{page}");
    }
    browser.wait_text("#chain ~ p", &["as computed again"]);
    // Every byte of the frame, as text and in hexadecimal, with what it was taken for.
    let parts = browser.js(
        "return [...document.querySelectorAll('.part')].map((part) => [...part.children].map((child) => child.innerText))",
        vec![],
    );
    let parts: Vec<Vec<String>> = serde_json::from_value(parts).expect("parts");
    let text: String = parts.iter().map(|part| part[0].clone()).collect();
    assert_eq!(text, "JOB=4471 EYE=R S=-1.25 C=-0.50 A=110<CR><LF>");
    assert!(
        parts.iter().any(|part| part[0] == "110" && part[1] == "31 31 30" && part[2].starts_with("axis")),
        "{parts:?}"
    );
    browser.click("#payload summary");
    browser.wait_text("#payload", &["\"outcome\": \"fail\""]);
    browser.click_text("ansi-z80.1-2015");
    browser.wait_text("main pre", &["ansi-z80.1-2015"]);

    browser.go(&format!("/ledger/{seq}"));
    browser.fill("#remark-reason", "looked at twice");
    browser.click_text("Add the remark");
    browser.wait_text("#after ~ ul", &["Note", "looked at twice"]);

    let reading = entry["payload"]["basis"]["readings"][0].to_string();
    browser.go(&format!("/ledger/{reading}"));
    browser.wait_text("main", &["Order as it stood", "−1.25 −0.50 × 110"]);
    browser.fill("#assign-job", "4472");
    browser.fill("#assign-reason", "the trays were swapped");
    browser.click_text("Assign");
    browser.wait_text("#after ~ ul", &["assigned", "4472", "the trays were swapped"]);
    browser.fill("#void-reason", "the lens was wet");
    browser.click_text("Void");
    browser.wait_text("#after ~ ul", &["void", "the lens was wet"]);
    assert_eq!(browser.count("#void-reason"), 0, "it is void already");
    browser.go("/jobs/4472");
    browser.wait_text("main", &["void"]);
    browser.go("/ledger/1");
    assert_eq!(browser.count("a[rel=prev]"), 0);
    browser.click("a[rel=next]");
    browser.wait_place("/ledger/2");
    browser.go("/ledger/999999");
    browser.wait_text(".problem", &["no entry 999999"]);
}

#[test]
fn a_certificate_says_all_that_it_rests_on() {
    let bench = Bench::open();
    let (_station, visitor, browser) = with_a_record(&bench);
    browser.go("/jobs/4471");
    browser.click_text("Certificate");
    browser.wait_place("/jobs/4471/certificate");
    let verdict = visitor.get("/api/v1/jobs/4471").json()["verdict"].clone();
    let entry = visitor.get(&format!("/api/v1/entries/{}", verdict["seq"])).json();
    let page = browser
        .wait_text("main", &["Certificate of job 4471", "fail", "focimeter-1", "revision 1", "Signature"]);
    for item in verdict["verdict"]["items"].as_array().expect("items") {
        assert!(page.contains(item["clause"].as_str().expect("a clause")), "{item}");
    }
    assert!(page.contains(entry["hash"].as_str().expect("a hash")) && page.contains("ansi-z80.1-2015"));
    browser.wait_text(
        ".cautions",
        &["responsible licensed person decides", "Safety eyewear", "own copy", "Local codes"],
    );
    browser.js("window.print = () => { window.printed = true }", vec![]);
    browser.click("#print");
    assert_eq!(browser.js("return window.printed", vec![]), true);
    browser.go("/jobs/4472/certificate");
    browser.wait_text(".problem", &["nothing to certify"]);
}

#[test]
fn a_fail_is_overridden_with_a_signature() {
    let bench = Bench::with_people();
    let (_station, _visitor, browser) = with_a_record(&bench);
    browser.go("/jobs/4471");
    browser.wait_place("/sign-in");
    browser.fill("#name", "quality person");
    browser.fill("#passphrase", "wrong words");
    browser.press(ENTER);
    browser.wait_text(".problem", &["wrong"]);
    browser.fill("#passphrase", &format!("{WORDS}{ENTER}"));
    browser.wait_place("/jobs/4471");
    browser.click(".stand ~ p a");
    browser.wait_place("/ledger/");
    browser.fill("#sign-words", WORDS);
    browser.fill("#sign-meaning", "released with consent");
    browser.fill("#sign-reason", "a trial pair");
    browser.click_text("Override the fail");
    browser
        .wait_text("#after ~ ul", &["Override", "quality person", "released with consent", "a trial pair"]);
    assert_eq!(browser.count("#sign-words"), 0, "once");
    browser.go("/jobs/4471/certificate");
    browser.wait_text("article", &["fail", "Overridden by quality person (quality)", "a trial pair"]);
    browser.go("/");
    browser.wait_text(".below", &["4471", "fail, overridden"]);
    browser.go("/people");
    browser.wait_text(".problem", &["the role admin"]);
    browser.click_text("Sign out");
    browser.wait_place("/sign-in");
    browser.go("/ledger");
    browser.wait_place("/sign-in");
}
