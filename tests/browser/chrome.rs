//! A headless Chromium with an empty profile, driven step by step.

use crate::common::{PATIENCE, wait_for};
use fantoccini::error::CmdError;
use fantoccini::wd::{Capabilities, WebDriverCompatibleCommand};
use fantoccini::{Client, ClientBuilder, Locator};
use hyper_util::client::legacy::connect::HttpConnector;
use serde_json::{Value, json};
use std::io::{BufRead, BufReader};
use std::process::{Child, Command, Stdio};
use tempfile::TempDir;
use tokio::runtime::Runtime;

/// Keys that are not characters, as the WebDriver standard numbers them.
pub const ENTER: &str = "\u{e007}";
pub const TAB: &str = "\u{e004}";
pub const SPACE: &str = " ";

/// A browser with one window.
pub struct Browser {
    runtime: Runtime,
    client: Client,
    driver: Child,
    _profile: TempDir,
    pub url: String,
}

impl Browser {
    /// Opens one; places are those of the station at `url`.
    pub fn open(url: &str) -> Self {
        let mut command = Command::new("chromedriver");
        command.arg("--port=0").stdin(Stdio::null()).stdout(Stdio::piped()).stderr(Stdio::null());
        let mut driver = command.spawn().expect("chromedriver starts: contrib/check installs it");
        let out = BufReader::new(driver.stdout.take().expect("piped"));
        let mut lines = out.lines().map_while(Result::ok);
        let started =
            lines.find(|line| line.contains("started successfully on port")).expect("it says its port");
        let port: String = started.chars().filter(char::is_ascii_digit).collect();
        // It writes on; nobody reads, and the pipe must not close.
        std::thread::spawn(move || lines.for_each(drop));
        let profile = tempfile::tempdir().expect("a folder");
        let arguments = [
            "--headless",
            "--no-sandbox",
            "--disable-gpu",
            "--disable-quic",
            "--no-first-run",
            "--disable-background-networking",
            "--disable-component-update",
            "--disable-sync",
            "--disable-dev-shm-usage",
            &format!("--user-data-dir={}", profile.path().display()),
        ];
        let wanted: Capabilities = serde_json::from_value(json!({
            "goog:chromeOptions": { "args": arguments },
            "goog:loggingPrefs": { "browser": "ALL" },
        }))
        .expect("capabilities");
        let runtime = tokio::runtime::Builder::new_multi_thread()
            .worker_threads(1)
            .enable_all()
            .build()
            .expect("a runtime");
        let connect = async {
            ClientBuilder::new(HttpConnector::new())
                .capabilities(wanted)
                .connect(&format!("http://127.0.0.1:{port}"))
                .await
        };
        let client = runtime.block_on(connect).expect("chromium starts: contrib/check installs it");
        let browser = Self { runtime, client, driver, _profile: profile, url: url.to_owned() };
        browser.size(1280, 800);
        browser
    }

    fn run<T>(&self, what: impl Future<Output = Result<T, CmdError>>) -> T {
        self.runtime
            .block_on(what)
            .unwrap_or_else(|why| panic!("{why}\nat {}\n{}", self.place(), self.text("body")))
    }

    /// Goes to a place of the station.
    pub fn go(&self, place: &str) {
        self.run(self.client.goto(&format!("{}{place}", self.url)));
    }

    /// The place it is at.
    pub fn place(&self) -> String {
        let url = self
            .runtime
            .block_on(self.client.current_url())
            .map_or_else(|why| why.to_string(), |url| url.to_string());
        url.trim_start_matches(&self.url).to_owned()
    }

    /// Runs a script and gives what it returns.
    pub fn js(&self, script: &str, arguments: Vec<Value>) -> Value {
        self.run(self.client.execute(script, arguments))
    }

    /// The text of what is found first, as it is seen; empty where nothing is found.
    pub fn text(&self, css: &str) -> String {
        let script = "return document.querySelector(arguments[0])?.innerText ?? ''";
        let text = self.runtime.block_on(self.client.execute(script, vec![json!(css)]));
        text.ok().and_then(|text| text.as_str().map(str::to_owned)).unwrap_or_default()
    }

    /// How many there are.
    pub fn count(&self, css: &str) -> u64 {
        self.js("return document.querySelectorAll(arguments[0]).length", vec![json!(css)])
            .as_u64()
            .expect("a number")
    }

    /// Whether something is there and seen.
    pub fn shows(&self, css: &str) -> bool {
        let script = "return !!document.querySelector(arguments[0])?.checkVisibility()";
        self.js(script, vec![json!(css)]) == true
    }

    /// Waits until the text holds all of `words`, whatever their case and the blanks between them.
    pub fn wait_text(&self, css: &str, words: &[&str]) -> String {
        let holds = |text: &str| words.iter().all(|word| text.to_lowercase().contains(&word.to_lowercase()));
        let mut last = String::new();
        let since = std::time::Instant::now();
        while since.elapsed() < PATIENCE {
            last = self.text(css).split_whitespace().collect::<Vec<_>>().join(" ");
            if holds(&last) {
                return last;
            }
            std::thread::sleep(std::time::Duration::from_millis(20));
        }
        panic!("{css} never held {words:?} but {last:?}\nat {}:\n{}", self.place(), self.text("body"))
    }

    /// Waits until something is seen, or is not.
    pub fn wait_shown(&self, css: &str, shown: bool) {
        wait_for(css, || (self.shows(css) == shown).then_some(()));
    }

    /// Waits until it is at a place that begins so.
    pub fn wait_place(&self, begin: &str) {
        wait_for(begin, || self.place().starts_with(begin).then_some(()));
    }

    /// Clicks what is found first, as a person does: it has to be seen.
    pub fn click(&self, css: &str) {
        self.run(async { self.client.find(Locator::Css(css)).await?.click().await });
    }

    /// Clicks the button or link with this text.
    pub fn click_text(&self, text: &str) {
        let path = format!("//*[self::button or self::a or self::summary][normalize-space()={text:?}]");
        self.run(async { self.client.find(Locator::XPath(&path)).await?.click().await });
    }

    /// Puts a text into a field, in place of what is in it.
    pub fn fill(&self, css: &str, text: &str) {
        self.run(async {
            let field = self.client.find(Locator::Css(css)).await?;
            field.clear().await?;
            field.send_keys(text).await
        });
    }

    /// Chooses an option by its value.
    pub fn choose(&self, css: &str, value: &str) {
        self.run(async { self.client.find(Locator::Css(css)).await?.select_by_value(value).await });
    }

    /// Presses keys, wherever the focus is.
    pub fn press(&self, keys: &str) {
        self.run(async { self.client.active_element().await?.send_keys(keys).await });
    }

    /// The id of what has the focus, or else its text.
    pub fn focused(&self) -> String {
        let script = "const at = document.activeElement; return at.id || at.innerText || at.tagName";
        self.js(script, vec![]).as_str().unwrap_or_default().to_owned()
    }

    /// Presses the tabulator until the focus is on what has this id or text.
    pub fn tab_to(&self, wanted: &str) {
        for _ in 0..200 {
            if self.focused() == wanted {
                let seen = "const style = getComputedStyle(document.activeElement);
                    return style.outlineStyle !== 'none' && parseFloat(style.outlineWidth) >= 2";
                assert_eq!(self.js(seen, vec![]), true, "the focus on {wanted:?} is not seen");
                return;
            }
            self.press(TAB);
        }
        panic!("the tabulator never came to {wanted:?} at {}", self.place());
    }

    /// Makes the window's inside this wide and high.
    pub fn size(&self, width: u32, height: u32) {
        let size = json!({ "width": width, "height": height, "deviceScaleFactor": 1, "mobile": false });
        self.devtools("Emulation.setDeviceMetricsOverride", size);
    }

    /// What the person prefers: `light` or `dark`.
    pub fn scheme(&self, scheme: &str) {
        let features = json!({ "features": [{ "name": "prefers-color-scheme", "value": scheme }] });
        self.devtools("Emulation.setEmulatedMedia", features);
    }

    /// Whether pages' scripts run.
    pub fn scripts(&self, run: bool) {
        self.devtools("Emulation.setScriptExecutionDisabled", json!({ "value": !run }));
    }

    fn devtools(&self, cmd: &'static str, params: Value) {
        let command = Raw { place: "goog/cdp/execute", body: json!({ "cmd": cmd, "params": params }) };
        self.run(self.client.issue_cmd(command));
    }

    /// What the browser complained of since it was asked last.
    pub fn complaints(&self) -> Vec<String> {
        let command = Raw { place: "se/log", body: json!({ "type": "browser" }) };
        let log = self.run(self.client.issue_cmd(command));
        let lines = log.as_array().expect("a list").iter();
        lines.filter_map(|line| line["message"].as_str().map(str::to_owned)).collect()
    }
}

impl Drop for Browser {
    fn drop(&mut self) {
        // A test that failed must not hang on a browser that does.
        let client = self.client.clone();
        let close = async { tokio::time::timeout(std::time::Duration::from_secs(10), client.close()).await };
        let _ = self.runtime.block_on(close);
        let _ = self.driver.kill();
        let _ = self.driver.wait();
    }
}

/// A command of Chromium's own driver.
#[derive(Debug)]
struct Raw {
    place: &'static str,
    body: Value,
}

impl WebDriverCompatibleCommand for Raw {
    fn endpoint(&self, base: &url::Url, session: Option<&str>) -> Result<url::Url, url::ParseError> {
        base.join(&format!("session/{}/{}", session.unwrap_or_default(), self.place))
    }

    fn method_and_body(&self, _: &url::Url) -> (ureq::http::Method, Option<String>) {
        (ureq::http::Method::POST, Some(self.body.to_string()))
    }
}
