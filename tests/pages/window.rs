//! A window of a real browser, used as a person uses it: by what labels and buttons say.
//!
//! Invariants: a window has a profile of its own; whatever the browser's console says, and whatever address it asks, is
//! looked at when the window is closed. Deliberately absent: what the pages are about.

use std::time::{Duration, Instant};

use base64::Engine;
use serde_json::{Value, json};
use thirtyfour::prelude::*;
use thirtyfour::{ChromeCapabilities, ChromiumLikeCapabilities, TypingData};
use tokio::runtime::Runtime;

use crate::driver::Driver;

/// How long a page may take for anything.
const PATIENCE: Duration = Duration::from_secs(20);

/// After how many presses of the tabulator key without anything new a page is over.
const STOPS_OF_A_FIELD: u32 = 8;

/// What of a browser differs between the runs.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Kind {
    /// Width of the page, in px of CSS.
    pub(crate) width_px: u32,
    /// Height of the page, in px of CSS.
    pub(crate) height_px: u32,
    /// Whether scripts run.
    pub(crate) scripts: bool,
    /// Whether it is dark.
    pub(crate) dark: bool,
}

impl Kind {
    /// A phone's, and the narrowest that is promised.
    pub(crate) const PHONE: Self = Self {
        width_px: 360,
        height_px: 740,
        scripts: true,
        dark: false,
    };
    /// A computer's in the lab, and the widest that is promised.
    pub(crate) const DESK: Self = Self {
        width_px: 1600,
        height_px: 1000,
        ..Self::PHONE
    };

    /// The same without scripts.
    pub(crate) const fn without_scripts(self) -> Self {
        Self {
            scripts: false,
            ..self
        }
    }

    /// The same in the dark.
    pub(crate) const fn in_the_dark(self) -> Self {
        Self { dark: true, ..self }
    }
}

/// A window.
pub(crate) struct Window {
    runtime: Runtime,
    web: WebDriver,
    kind: Kind,
    origin: String,
}

fn capabilities(kind: Kind) -> ChromeCapabilities {
    let mut wanted = DesiredCapabilities::chrome();
    let arguments = [
        "--headless=new",
        "--no-sandbox",
        "--disable-gpu",
        "--disable-quic",
        "--disable-dev-shm-usage",
        "--hide-scrollbars",
        "--no-first-run",
        "--disable-background-networking",
        "--disable-component-update",
        "--disable-sync",
        "--disable-features=MediaRouter,OptimizationHints,Translate",
        "--lang=en-GB",
    ];
    for argument in arguments {
        wanted.add_arg(argument).expect("an argument");
    }
    if kind.dark {
        wanted
            .add_arg("--blink-settings=preferredColorScheme=0")
            .expect("an argument");
    }
    // Everything that a page asks for is in the log of its performance.
    let logs = json!({"browser": "ALL", "performance": "ALL"});
    wanted
        .set("goog:loggingPrefs", logs)
        .expect("the logs' levels");
    wanted
}

impl Window {
    /// Opens a window for the service at `origin`, such as `http://127.0.0.1:8080`.
    pub(crate) fn open(driver: &Driver, kind: Kind, origin: &str) -> Self {
        // The client wants a provider of cryptography even where it never uses it.
        heeltap::http::outbound::tls_ready();
        let runtime = tokio::runtime::Builder::new_current_thread()
            .enable_all()
            .build()
            .expect("a runtime");
        let web = runtime
            .block_on(WebDriver::new(&driver.address, capabilities(kind)))
            .expect("a window");
        let window = Self {
            runtime,
            web,
            kind,
            origin: origin.to_owned(),
        };
        // Chromium makes no window as narrow as a phone's, but shows a page as if it had one.
        let screen = json!({"width": kind.width_px, "height": kind.height_px, "deviceScaleFactor": 1,
            "mobile": kind.width_px < 600});
        window.devtools("Emulation.setDeviceMetricsOverride", screen);
        if !kind.scripts {
            window.devtools(
                "Emulation.setScriptExecutionDisabled",
                json!({"value": true}),
            );
        }
        window
    }

    fn devtools(&self, command: &str, with: Value) {
        let sent = self.web.cdp();
        self.runtime
            .block_on(sent.send_raw(command, with))
            .unwrap_or_else(|error| panic!("{command}: {error}"));
    }

    /// Whether scripts run in it.
    pub(crate) fn has_scripts(&self) -> bool {
        self.kind.scripts
    }

    /// Opens a page of the service.
    pub(crate) fn go(&self, path: &str) {
        let address = format!("{}{path}", self.origin);
        self.runtime
            .block_on(self.web.goto(&address))
            .unwrap_or_else(|error| panic!("{path}: {error}"));
    }

    /// Loads the page again.
    pub(crate) fn reload(&self) {
        self.runtime.block_on(self.web.refresh()).expect("a page");
    }

    /// The path and query of the page that is open.
    pub(crate) fn path(&self) -> String {
        let address = self.runtime.block_on(self.web.current_url());
        let address = address.expect("an address");
        match address.query() {
            Some(query) => format!("{}?{query}", address.path()),
            None => address.path().to_owned(),
        }
    }

    /// What can be read on the page.
    pub(crate) fn text(&self) -> String {
        let started = Instant::now();
        loop {
            let text = self.runtime.block_on(async {
                let body = self.web.find(By::Css("body")).await?;
                body.text().await
            });
            match text {
                Ok(text) => return text,
                // The page gives way to another just now.
                Err(_) if started.elapsed() < PATIENCE => {
                    std::thread::sleep(Duration::from_millis(50));
                }
                Err(error) => panic!("no text: {error}"),
            }
        }
    }

    /// Waits until something can be read on the page.
    #[track_caller]
    pub(crate) fn reads(&self, wanted: &str) {
        self.until(wanted, || self.text().contains(wanted));
    }

    /// Waits until the page is another one.
    #[track_caller]
    pub(crate) fn arrives(&self, path: &str) {
        self.until(path, || self.path().split('?').next() == Some(path));
    }

    #[track_caller]
    fn until(&self, wanted: &str, mut so: impl FnMut() -> bool) {
        let started = Instant::now();
        while !so() {
            assert!(
                started.elapsed() < PATIENCE,
                "`{wanted}` does not come on {}:\n{}",
                self.path(),
                self.text()
            );
            std::thread::sleep(Duration::from_millis(50));
        }
    }

    /// The first element that is shown of those that fit, waited for.
    #[track_caller]
    fn find(&self, what: &str, by: &By) -> WebElement {
        let started = Instant::now();
        loop {
            let found = self.runtime.block_on(async {
                for element in self.web.find_all(by.clone()).await? {
                    if element.is_displayed().await? {
                        return Ok::<_, WebDriverError>(Some(element));
                    }
                }
                Ok(None)
            });
            match found {
                Ok(Some(element)) => return element,
                _ if started.elapsed() < PATIENCE => std::thread::sleep(Duration::from_millis(50)),
                _ => panic!("there is no {what} on {}:\n{}", self.path(), self.text()),
            }
        }
    }

    /// The field that a label belongs to, by what the label says: the `row`th of them, from 0. What is folded away is unfolded.
    #[track_caller]
    fn field(&self, label: &str, row: usize) -> WebElement {
        // A label names its field, or has it within; its field may be named by `aria-label` too.
        let said = quoted(label);
        let labels =
            format!("label[normalize-space(.)={said} or starts-with(normalize-space(.), {said})]");
        let fields = "*[self::input or self::select or self::textarea]";
        let path = format!(
            "//{fields}[@id=//{labels}/@for or ancestor::{labels} or starts-with(@aria-label, {said})]"
        );
        let started = Instant::now();
        loop {
            let found = self.runtime.block_on(async {
                let found = self.web.find_all(By::XPath(&path)).await?;
                let Some(field) = found.into_iter().nth(row) else {
                    return Ok::<_, WebDriverError>(None);
                };
                let folds = "ancestor::details[not(@open)]/summary";
                for fold in field.find_all(By::XPath(folds)).await? {
                    fold.scroll_into_view().await?;
                    fold.click().await?;
                }
                Ok(field.is_displayed().await?.then_some(field))
            });
            match found {
                Ok(Some(field)) => return field,
                _ if started.elapsed() < PATIENCE => std::thread::sleep(Duration::from_millis(50)),
                _ => panic!(
                    "there is no field `{label}` ({row}) on {}:\n{}",
                    self.path(),
                    self.text()
                ),
            }
        }
    }

    /// Types into a field, in place of what stands there.
    #[track_caller]
    pub(crate) fn fill(&self, label: &str, text: &str) {
        self.fill_row(label, 0, text);
    }

    /// Types into the `row`th field of that label, from 0.
    #[track_caller]
    pub(crate) fn fill_row(&self, label: &str, row: usize, text: &str) {
        let field = self.field(label, row);
        self.runtime
            .block_on(async {
                match field.attr("type").await?.as_deref() {
                    // What is typed into a day's or time's field depends on the language of the browser: it is set.
                    Some("date" | "time") => set(&self.web, &field, text).await,
                    _ => {
                        field.clear().await?;
                        field.send_keys(TypingData::from(text)).await
                    }
                }
            })
            .unwrap_or_else(|error| panic!("`{label}` takes no `{text}`: {error}"));
    }

    /// Chooses of a list, by what the choice says.
    #[track_caller]
    pub(crate) fn choose(&self, label: &str, choice: &str) {
        self.choose_row(label, 0, choice);
    }

    /// Chooses of the `row`th list of that label, from 0.
    #[track_caller]
    pub(crate) fn choose_row(&self, label: &str, row: usize, choice: &str) {
        let field = self.field(label, row);
        let path = format!(
            ".//option[contains(normalize-space(.), {})]",
            quoted(choice)
        );
        self.runtime
            .block_on(async { field.find(By::XPath(path)).await?.click().await })
            .unwrap_or_else(|error| panic!("`{label}` has no `{choice}`: {error}"));
    }

    /// Ticks a box.
    #[track_caller]
    pub(crate) fn tick(&self, label: &str) {
        let field = self.field(label, 0);
        self.click(&field, label);
    }

    /// What stands in a field.
    #[track_caller]
    pub(crate) fn value(&self, label: &str) -> String {
        let field = self.field(label, 0);
        let value = self.runtime.block_on(field.value()).expect("a value");
        value.unwrap_or_default()
    }

    /// Presses a button.
    #[track_caller]
    pub(crate) fn press(&self, label: &str) {
        let path = format!(
            "//button[starts-with(normalize-space(.), {}) and not(@disabled)]",
            quoted(label)
        );
        let button = self.find(&format!("button `{label}`"), &By::XPath(path));
        self.click(&button, label);
    }

    /// Follows a link.
    #[track_caller]
    pub(crate) fn follow(&self, label: &str) {
        let path = format!("//a[starts-with(normalize-space(.), {})]", quoted(label));
        let link = self.find(&format!("link `{label}`"), &By::XPath(path));
        self.click(&link, label);
    }

    #[track_caller]
    fn click(&self, element: &WebElement, label: &str) {
        self.runtime
            .block_on(async {
                // Into the middle, where no bar stands above it.
                let middle = "arguments[0].scrollIntoView({block: 'center'})";
                self.web.execute(middle, vec![element.to_json()?]).await?;
                element.click().await
            })
            .unwrap_or_else(|error| panic!("`{label}`: {error}"));
    }

    /// Gives a file to a field.
    #[track_caller]
    pub(crate) fn attach(&self, label: &str, file: &std::path::Path) {
        let field = self.field(label, 0);
        let path = file.to_str().expect("a path");
        self.runtime
            .block_on(field.send_keys(path))
            .expect("a file");
    }

    /// Moves on by the tabulator key through the whole page. Tells what can be used and is not reached, or is reached and not seen.
    pub(crate) fn out_of_reach(&self) -> Vec<String> {
        let begin = "window.reached = new Set(); window.unseen = new Set(); document.activeElement.blur(); \
            getSelection().removeAllRanges(); scrollTo(0, 0)";
        self.ask(begin);
        let step = "const at = document.activeElement; if (at === document.body) return -1; window.reached.add(at); \
            const box = at.getBoundingClientRect(); const style = getComputedStyle(at); \
            if (box.width === 0 || style.outlineStyle === 'none') window.unseen.add(at); return window.reached.size";
        let (mut size, mut still) = (0, 0);
        // A field of a day is several stops; past the last stop there is nothing new.
        while still < STOPS_OF_A_FIELD {
            let keys = self.web.action_chain().send_keys(Key::Tab);
            self.runtime.block_on(keys.perform()).expect("the key");
            let now = self.ask(step).as_i64().unwrap_or(0);
            still = if now > size { 0 } else { still + 1 };
            size = size.max(now);
        }
        let left = self.ask(
            "const name = e => e.outerHTML.slice(0, 120); const usable = 'a[href], button:enabled, input:enabled, select, \
               textarea, summary, [tabindex=\"0\"]'; \
             const left = [...document.querySelectorAll(usable)].filter(e => e.type !== 'hidden' && e.checkVisibility() \
               && !window.reached.has(e)); \
             return [left.map(name), [...window.unseen].map(name)]",
        );
        let told = |of: &Value, what: &str| -> Vec<String> {
            let list = of.as_array().expect("a list").iter();
            list.map(|one| format!("{}: {what}: {one}", self.path()))
                .collect()
        };
        let mut faults = told(&left[0], "the key does not reach");
        faults.extend(told(&left[1], "is reached by the key, and not seen"));
        assert!(size > 3, "{}: the key reaches nothing", self.path());
        faults
    }

    /// What a script answers, where scripts run.
    pub(crate) fn ask(&self, script: &str) -> Value {
        let answer = self
            .runtime
            .block_on(self.web.execute(script, Vec::<Value>::new()));
        answer.expect("an answer").json().clone()
    }

    /// What a script answers that takes its time: it calls its last argument.
    pub(crate) fn ask_later(&self, script: &str) -> Value {
        let answer = self
            .runtime
            .block_on(self.web.execute_async(script, Vec::<Value>::new()));
        answer.expect("an answer").json().clone()
    }

    /// What of the page is wider than its window, if anything.
    pub(crate) fn too_wide(&self) -> Option<String> {
        let widths = self.ask(
            "const d = document.documentElement; const over = [...document.querySelectorAll('body *')] \
               .filter(e => e.getBoundingClientRect().right > d.clientWidth + 1 && !e.closest('.wide, svg, .unseen, .skip')) \
               .slice(0, 3).map(e => e.outerHTML.slice(0, 120)); \
             return [d.scrollWidth, d.clientWidth, over]",
        );
        let wide = widths[0].as_i64() > widths[1].as_i64();
        wide.then(|| format!("{} is wider than its window: {widths}", self.path()))
    }

    /// Keeps a picture of the whole page where `HEELTAP_SCREENSHOTS` says, if it does.
    pub(crate) fn picture(&self, name: &str) {
        let Ok(folder) = std::env::var("HEELTAP_SCREENSHOTS") else {
            return;
        };
        let height = self.ask("return document.documentElement.scrollHeight");
        let screen = |height: Value| {
            json!({"width": self.kind.width_px, "height": height, "deviceScaleFactor": 1,
            "mobile": self.kind.width_px < 600})
        };
        self.devtools("Emulation.setDeviceMetricsOverride", screen(height));
        let taken = self.runtime.block_on(self.web.screenshot_as_png());
        let kind = format!(
            "{}{}{}",
            self.kind.width_px,
            if self.kind.scripts { "" } else { "-plain" },
            if self.kind.dark { "-dark" } else { "" }
        );
        let file = std::path::Path::new(&folder).join(format!("{name}-{kind}.png"));
        std::fs::write(file, taken.expect("a picture")).expect("the picture's file");
        self.devtools(
            "Emulation.setDeviceMetricsOverride",
            screen(json!(self.kind.height_px)),
        );
    }

    /// How many pages of A4 the page is on paper, with the margins that its style asks for.
    pub(crate) fn printed_pages(&self) -> usize {
        let asked = json!({"paperWidth": 8.27, "paperHeight": 11.69, "preferCSSPageSize": true});
        let printed = self.web.cdp();
        let printed = printed.send_raw("Page.printToPDF", asked);
        let printed = self.runtime.block_on(printed).expect("the paper");
        let file = base64::engine::general_purpose::STANDARD
            .decode(printed["data"].as_str().expect("a file"))
            .expect("a file");
        // Each page is an object of its own, written as it is (ISO 32000-1, 7.7.3.3); the tree of them is `/Pages`.
        let pages = b"/Type /Page\n";
        file.windows(pages.len())
            .filter(|bytes| bytes == pages)
            .count()
    }

    /// Closes the window. Tells what its console said, and whom it asked but the service: both should be nothing.
    pub(crate) fn close(self) -> Vec<String> {
        let log = |of: &str| self.runtime.block_on(self.web.get_log(of)).expect("a log");
        let (console, asked) = (log("browser"), log("performance"));
        assert!(!asked.is_empty(), "the log of requests is empty");
        // An answer of 409 or 422 is the service's word about a form; a browser writes it down as if it was a fault.
        let said = console
            .iter()
            .filter(|entry| !entry.message.contains("responded with a status of 4"))
            .map(|entry| format!("the console says: {}", entry.message));
        let abroad = asked
            .iter()
            .filter_map(|entry| abroad(&entry.message, &self.origin))
            .map(|address| format!("another address was asked: {address}"));
        let faults = said.chain(abroad).collect();
        self.runtime.block_on(self.web.quit()).expect("the end");
        faults
    }
}

/// Sets a field's value as its picker would.
async fn set(web: &WebDriver, field: &WebElement, text: &str) -> WebDriverResult<()> {
    let script = "arguments[0].value = arguments[1]; \
        arguments[0].dispatchEvent(new Event('input', {bubbles: true}))";
    let arguments = vec![field.to_json()?, json!(text)];
    web.execute(script, arguments).await.map(drop)
}

/// The address of a request that the log tells of, if it is of neither the service nor the page itself.
fn abroad(message: &str, origin: &str) -> Option<String> {
    let message: Value = serde_json::from_str(message).ok()?;
    let message = &message["message"];
    if message["method"] != "Network.requestWillBeSent" {
        return None;
    }
    let address = message["params"]["request"]["url"].as_str()?;
    let own = address.starts_with(&format!("{origin}/"));
    let within = ["data:", "about:", "blob:"]
        .iter()
        .any(|scheme| address.starts_with(scheme));
    (!own && !within).then(|| address.to_owned())
}

/// A text as XPath writes it.
fn quoted(text: &str) -> String {
    match text.contains('"') {
        true => format!("'{text}'"),
        false => format!("\"{text}\""),
    }
}
