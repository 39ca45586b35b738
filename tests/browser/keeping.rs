//! Those who keep a station: instruments, layouts, accounts.

use crate::chrome::{Browser, ENTER};
use crate::common::page::{Bench, PASSES, WORDS};
use crate::common::wait_for;

#[test]
fn instruments_are_shown_live_as_they_are_set_up() {
    let mut bench = Bench::open();
    let (_station, url) = bench.start();
    let browser = Browser::open(&url);
    browser.go("/instruments");
    let first = browser.wait_text(
        "#devices",
        &["focimeter-1", "scanner-1", "listening since", "9600 baud, 8N1, no flow control"],
    );
    assert!(first.contains("nothing heard yet") && first.contains("0 frames, 0 not read"), "{first}");
    bench.focimeter.send(PASSES);
    browser.wait_text("#devices", &["EYE=R S=-1.25 C=-0.50 A=90<CR><LF>", "1 frames, 0 not read"]);
    bench.focimeter.send("nonsense\r\n");
    browser.wait_text("#devices", &["2 frames, 1 not read", "not read: layout tagged, byte 0"]);
    assert_eq!((browser.count(".chart .read"), browser.count(".chart .unread")), (1, 1));
    let words = browser.js("return document.querySelector('.chart').getAttribute('aria-label')", vec![]);
    assert!(words.as_str().is_some_and(|words| words.contains("2 (not read 1)")), "{words}");
    bench.focimeter.unplug();
    browser.wait_text(".alarm", &["focimeter-1: connection lost"]);
    bench.focimeter.plug();
    browser.wait_shown("#alarms .alarm", false);
    browser.click_text("tagged");
    browser.wait_place("/layouts/tagged");
}

#[test]
fn a_layout_is_tried_on_bytes_while_they_are_typed() {
    let bench = Bench::open();
    let (_station, url) = bench.start();
    let browser = Browser::open(&url);
    browser.go("/layouts");
    browser.wait_text("main", &["tagged", "delimited", "focimeter-1"]);
    browser.click_text("tagged");
    browser.wait_text("main", &["Used by focimeter-1", "[[line.field]]"]);
    browser.fill("#bytes", "EYE=L S=+2.00 C=--- X=7<CR>");
    browser
        .wait_text("#results", &["Frame 1", "sphere", "cylinder: not measured", "Left", "+2.00", "X", "7"]);
    browser.fill("#bytes", "EYE=L S=+2.x0<CR>");
    browser.wait_text("#results .problem", &["not read", "byte"]);
    assert!(browser.shows(".part-unread"));
    browser.fill("#bytes", "S=<NO>");
    browser.wait_text("#results > .problem", &["stands for no byte"]);
    browser.click("label[for=form-hex]");
    browser.fill("#bytes", "53 3D 2B 31 2E 30 30 0D");
    browser.wait_text("#results", &["Eye not said", "+1.00", "53 3D"]);
    browser.click_text("Try");
    assert!(browser.place().contains("form=hex"));
    browser.go("/layouts/none-such");
    browser.wait_text(".problem", &["no layout none-such"]);
}

#[test]
fn a_layout_is_learnt_from_what_the_display_showed() {
    let bench = Bench::open();
    let (_station, url) = bench.start();
    let browser = Browser::open(&url);
    browser.go("/layouts");
    browser.click_text("Learn a layout");
    browser.wait_place("/layouts/learn");
    browser.fill("#name", "bench-7");
    let samples = [
        ("R;-1.25;-0.50;91<CR>", "right_sphere -1.25\nright_cylinder -0.50\nright_axis 91"),
        ("L;+2.00;-0.75;5<CR>", "left_sphere 2.00\nleft_cylinder -0.75\nleft_axis 5"),
        ("R;-0.50;---;---<CR>", "right_sphere -0.50\nright_cylinder -\nright_axis ninety"),
    ];
    for ((bytes, shown), number) in samples.iter().zip(1..) {
        browser.fill(&format!("#bytes-{number}"), bytes);
        browser.fill(&format!("#shown-{number}"), shown);
    }
    browser.click_text("Learn");
    browser.wait_text(".wrong", &["right_axis", "ninety", "expected a number"]);
    browser.fill("#shown-3", "right_sphere -0.50\nright_cylinder -\nright_axis -");
    browser.click_text("Learn");
    let learnt = browser.wait_text("#learnt ~ pre", &["name", "bench-7", "[[line]]"]);
    assert!(
        fociline::parsers::layout::Layout::from_toml(&browser.text("#learnt ~ pre"), "bench-7").is_ok(),
        "{learnt}"
    );
    assert_eq!(browser.count(".part-unread"), 0, "every byte of every measurement is read");
    browser.fill("#shown-3", "right_sphere -0.75");
    browser.click_text("Learn");
    browser.wait_text(".problem", &["No layout explains all measurements", "Measurement 3"]);
}

#[test]
fn an_admin_keeps_the_accounts() {
    let bench = Bench::with_people();
    let (_station, url) = bench.start();
    let browser = Browser::open(&url);
    browser.go("/people");
    browser.wait_place("/sign-in");
    browser.fill("#name", "admin person");
    browser.fill("#passphrase", &format!("{WORDS}{ENTER}"));
    browser.wait_place("/people");
    browser.fill("#new-name", "trainee");
    browser.choose("#new-role", "bench");
    browser.fill("#new-words", WORDS);
    browser.click_text("Add an account");
    browser.wait_text("table", &["trainee"]);
    let row = |name: &str| {
        let names = browser
            .js("return [...document.querySelectorAll('tbody th')].map((name) => name.innerText)", vec![]);
        let at = names.as_array().expect("names").iter().position(|found| found == name);
        at.map(|at| at + 1).expect("a row")
    };
    let at = row("trainee");
    browser.choose(&format!("#role-{at}"), "quality");
    browser.click(&format!("tbody tr:nth-child({at}) form[action='/people'] button"));
    wait_for("the role", || {
        browser.text(&format!("tbody tr:nth-child({at}) td")).contains("quality").then_some(())
    });
    browser.click(&format!("#remove-{at} summary"));
    browser.click(&format!("#remove-{at} button"));
    wait_for("the account to be gone", || (!browser.text("table").contains("trainee")).then_some(()));
    assert_eq!(browser.count(&format!("#remove-{}", row("admin person"))), 0, "nobody removes themselves");
    browser.go("/ledger?person=trainee");
    browser.wait_text("#results", &["account added", "account changed", "account removed"]);
}

#[test]
fn numbers_and_dates_are_written_as_the_settings_say() {
    let bench = Bench::new("listen = \"127.0.0.1:0\"\nsign_in = false\nlanguage = \"de\"");
    let (mut station, url) = bench.start();
    let browser = Browser::open(&url);
    bench.focimeter.send(PASSES.replace("EYE", "JOB=4471 EYE"));
    station.line(&["4471"]);
    browser.go("/ledger?job=4471");
    browser.wait_text("#results", &["−1,25 −0,50 × 90"]);
    let time = browser.text("#results td.when");
    assert!(time.as_bytes()[2] == b'.' && time.as_bytes()[5] == b'.', "{time}");
}
