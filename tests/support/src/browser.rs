//! A real Chromium with a profile that outlives its process, so that a killed page can be opened again on the same storage.
//!
//! Everything is found as a person finds it, by words, or by the screens' `data-…` hooks. Each wait is for a condition and ends at
//! a deadline; whatever fails leaves a picture, the page's words and the browser's log in `target/browser-failures/`.

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};
use std::process::Stdio;
use std::time::{Duration, Instant};

use anyhow::{Context as _, Error, Result, anyhow, bail};
use serde_json::{Value, json};
use tempfile::TempDir;
use thirtyfour::common::capabilities::chromium::ChromiumLikeCapabilities as _;
use thirtyfour::common::capabilities::desiredcapabilities::CapabilitiesHelper as _;
use thirtyfour::extensions::cdp::ChromeDevTools;
use thirtyfour::{DesiredCapabilities, WebDriver, WebElement};
use tokio::io::{AsyncBufReadExt as _, BufReader};
use tokio::process::{Child, Command};

use crate::server_process::setting;

/// A page on a busy machine of two cores, in a build that is not optimised.
pub const WITHIN: Duration = Duration::from_secs(20);
const LOOK_EVERY: Duration = Duration::from_millis(60);
const START_WITHIN: Duration = Duration::from_secs(30);
/// Ports that chromedriver tries before something else must be wrong.
const DRIVER_STARTS: u32 = 8;
/// Finds things by words; put before each script that needs it.
const FINDERS: &str = include_str!("finders.js");

/// Brings something out from under the bars of the page, if it lies there.
const MIDDLE: &str = "if (!arguments[0].closest('.bottom, dialog')) arguments[0].scrollIntoView({block: 'center', behavior: 'instant'});";

/// A screen.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Screen {
    /// CSS pixels across.
    pub width: u32,
    /// CSS pixels down.
    pub height: u32,
    /// Device pixels per CSS pixel.
    pub scale: u32,
    /// Touch, and the viewport rules of a phone.
    pub mobile: bool,
}

/// A small phone.
pub const PHONE: Screen = Screen { width: 360, height: 740, scale: 2, mobile: true };
/// A desk.
pub const DESK: Screen = Screen { width: 1440, height: 900, scale: 1, mobile: false };

/// A running chromedriver and its port.
///
/// It takes a free port of one loopback address and then wants the same number on the other one. When several drivers start in
/// the same moment that number may be another's, and it ends before it has named any: it is then started anew. Any other end is
/// told with all that it printed.
async fn driver_process() -> Result<(Child, u16)> {
    let mut printed = String::new();
    for _ in 0..DRIVER_STARTS {
        let mut child = Command::new(setting("WITNESSMARK_CHROMEDRIVER")?)
            .arg("--port=0")
            .stdin(Stdio::null())
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .kill_on_drop(true)
            .spawn()
            .context("chromedriver does not start")?;
        let out = child.stdout.take().context("chromedriver has no output")?;
        let mut lines = BufReader::new(out).lines();
        printed.clear();
        while let Some(line) = lines.next_line().await? {
            if let Some((_, port)) = line.split_once("successfully on port ") {
                let port = port.trim_end_matches('.').parse::<u16>().context("a port")?;
                // Read on for ever: a full pipe would stop the driver.
                tokio::spawn(async move { while let Ok(Some(_)) = lines.next_line().await {} });
                return Ok((child, port));
            }
            printed.push_str(&line);
            printed.push('\n');
        }
        if !printed.contains("port not available") {
            break;
        }
    }
    bail!("chromedriver ended before it named its port: {printed}")
}

/// A browser with one page.
pub struct Browser {
    /// For failures: whose browser this is.
    name: String,
    base: String,
    screen: Screen,
    /// In a private window, whose data goes with it.
    is_private: bool,
    chromedriver: Child,
    driver_url: String,
    driver: Option<WebDriver>,
    profile: TempDir,
    /// A clip that its fake camera shows; without one it has no camera.
    clip: Option<PathBuf>,
}

impl Browser {
    /// Starts one with an empty profile, on no page yet.
    ///
    /// # Errors
    /// Chromium or its driver do not start.
    pub async fn start(name: &str, base: &str, screen: Screen) -> Result<Self> {
        Self::start_as(name, base, screen, false).await
    }

    /// The same in a private window.
    ///
    /// # Errors
    /// Chromium or its driver do not start.
    pub async fn start_private(name: &str, base: &str, screen: Screen) -> Result<Self> {
        Self::start_as(name, base, screen, true).await
    }

    async fn start_as(name: &str, base: &str, screen: Screen, is_private: bool) -> Result<Self> {
        let (chromedriver, port) = driver_process().await?;
        let mut this = Self {
            name: name.to_owned(),
            base: base.to_owned(),
            screen,
            is_private,
            chromedriver,
            driver_url: format!("http://127.0.0.1:{port}"),
            driver: None,
            profile: tempfile::Builder::new().prefix("browser-profile-").tempdir()?,
            clip: None,
        };
        this.reopen().await?;
        Ok(this)
    }

    /// A new process on the profile that is there.
    ///
    /// # Errors
    /// Chromium does not start, or is still open.
    pub async fn reopen(&mut self) -> Result<()> {
        if self.driver.is_some() {
            bail!("the browser is still open");
        }
        // Left by a killed process, and read by the driver as if it were this one's.
        let _ = std::fs::remove_file(self.profile.path().join("DevToolsActivePort"));
        let capabilities = self.capabilities()?;
        let driver = tokio::time::timeout(START_WITHIN, WebDriver::new(&self.driver_url, capabilities))
            .await
            .context("Chromium does not start in time")??;
        driver.set_script_timeout(WITHIN).await?;
        driver.set_page_load_timeout(WITHIN).await?;
        self.driver = Some(driver);
        self.set_screen(self.screen).await
    }

    fn capabilities(&self) -> Result<thirtyfour::ChromeCapabilities> {
        let mut capabilities = DesiredCapabilities::chrome();
        capabilities.set_binary(&setting("WITNESSMARK_CHROMIUM")?.to_string_lossy())?;
        let profile = format!("--user-data-dir={}", self.profile.path().display());
        let arguments = [
            "--headless=new",
            "--no-sandbox",
            "--disable-dev-shm-usage",
            "--disable-gpu",
            "--disable-quic",
            "--no-first-run",
            "--no-default-browser-check",
            "--disable-background-networking",
            "--disable-component-update",
            "--disable-sync",
            "--disable-features=Translate,MediaRouter,OptimizationHints",
            "--lang=en-US",
            // Nobody listens on the other loopback address.
            "--host-resolver-rules=MAP localhost 127.0.0.1",
            &profile,
        ];
        for argument in arguments {
            capabilities.add_arg(argument)?;
        }
        if self.is_private {
            capabilities.add_arg("--incognito")?;
        }
        if let Some(clip) = &self.clip {
            capabilities.add_arg("--use-fake-device-for-media-stream")?;
            capabilities.add_arg("--use-fake-ui-for-media-stream")?;
            capabilities.add_arg(&format!("--use-file-for-fake-video-capture={}", clip.display()))?;
        }
        let downloads = self.downloads();
        std::fs::create_dir_all(&downloads)?;
        capabilities.add_experimental_option(
            "prefs",
            json!({"download.default_directory": downloads, "download.prompt_for_download": false,
                   "intl.accept_languages": "en-US"}),
        )?;
        capabilities.insert_base_capability("goog:loggingPrefs".to_owned(), json!({"browser": "ALL"}));
        Ok(capabilities)
    }

    /// From the next [`Browser::reopen`] on there is a camera, it is allowed, and it shows this clip (YUV4MPEG2) over and over.
    pub fn put_before_camera(&mut self, clip: PathBuf) {
        self.clip = Some(clip);
    }

    /// Where downloads lie.
    pub fn downloads(&self) -> PathBuf {
        self.profile.path().join("downloads")
    }

    /// Kills the browser with all its processes, as a phone's system does: no page gets to say goodbye.
    ///
    /// # Errors
    /// It would not die.
    pub async fn kill(&mut self) -> Result<()> {
        let processes = self.processes();
        if processes.is_empty() {
            bail!("there is no browser to kill");
        }
        let numbers: Vec<String> = processes.iter().map(ToString::to_string).collect();
        let _ = Command::new("kill").arg("-9").args(&numbers).stderr(Stdio::null()).status().await?;
        if let Some(driver) = self.driver.take() {
            let _ = driver.leak();
        }
        let began = Instant::now();
        while !self.processes().is_empty() {
            if began.elapsed() > WITHIN {
                bail!("Chromium survives kill -9: {:?}", self.processes());
            }
            tokio::time::sleep(LOOK_EVERY).await;
        }
        Ok(())
    }

    /// Closes the browser as a person does.
    ///
    /// # Errors
    /// The driver does not answer.
    pub async fn close(&mut self) -> Result<()> {
        if let Some(driver) = self.driver.take() {
            driver.quit().await?;
        }
        let began = Instant::now();
        while !self.processes().is_empty() && began.elapsed() < WITHIN {
            tokio::time::sleep(LOOK_EVERY).await;
        }
        Ok(())
    }

    /// The browser's main process and all below it, found by the profile's folder.
    fn processes(&self) -> BTreeSet<u32> {
        let mark = format!("--user-data-dir={}", self.profile.path().display());
        let all = all_processes();
        let mut own: BTreeSet<u32> =
            all.iter().filter(|process| process.command.contains(&mark)).map(|process| process.id).collect();
        loop {
            let more: Vec<u32> =
                all.iter().filter(|process| own.contains(&process.parent)).map(|process| process.id).collect();
            let before = own.len();
            own.extend(more);
            if own.len() == before {
                return own;
            }
        }
    }

    /// Another size: turns a phone, or looks as a desk does.
    ///
    /// # Errors
    /// The browser does not answer.
    pub async fn set_screen(&mut self, screen: Screen) -> Result<()> {
        self.screen = screen;
        let metrics = json!({"width": screen.width, "height": screen.height, "deviceScaleFactor": screen.scale, "mobile": screen.mobile});
        self.cdp("Emulation.setDeviceMetricsOverride", metrics).await?;
        self.cdp("Emulation.setTouchEmulationEnabled", json!({"enabled": screen.mobile})).await?;
        Ok(())
    }

    /// Light or dark, as the device says.
    ///
    /// # Errors
    /// The browser does not answer.
    pub async fn set_dark(&self, dark: bool) -> Result<()> {
        let value = if dark { "dark" } else { "light" };
        self.cdp("Emulation.setEmulatedMedia", json!({"features": [{"name": "prefers-color-scheme", "value": value}]}))
            .await?;
        Ok(())
    }

    /// A command of the DevTools protocol.
    ///
    /// # Errors
    /// The browser refuses it.
    pub async fn cdp(&self, command: &str, parameters: Value) -> Result<Value> {
        let tools = ChromeDevTools::new(self.driver()?.handle.clone());
        tools.execute_cdp_with_params(command, parameters).await.with_context(|| command.to_owned())
    }

    fn driver(&self) -> Result<&WebDriver> {
        self.driver.as_ref().context("the browser is closed")
    }

    /// Opens a path of the app, as typing the address does.
    ///
    /// # Errors
    /// The page does not load.
    pub async fn open(&self, path: &str) -> Result<()> {
        let address = self.address(path);
        match self.driver()?.goto(address.as_str()).await {
            Ok(()) => Ok(()),
            Err(error) => Err(self.failed(&format!("{address} does not open: {error}")).await),
        }
    }

    /// The whole address of a path of the app; one that is whole stays so.
    pub fn address(&self, path: &str) -> String {
        if path.contains("://") { path.to_owned() } else { format!("{}{path}", self.base) }
    }

    /// The path that the address shows.
    ///
    /// # Errors
    /// The browser does not answer.
    pub async fn path(&self) -> Result<String> {
        Ok(self.js("return location.pathname", &[]).await?.as_str().unwrap_or_default().to_owned())
    }

    /// Runs a script in the page; `find…` of `finders.js` are at hand.
    ///
    /// # Errors
    /// The script throws, or the browser does not answer.
    pub async fn js(&self, script: &str, arguments: &[Value]) -> Result<Value> {
        let script = format!("{FINDERS}\n{script}");
        let answer = self.driver()?.execute(script, arguments.to_vec()).await?;
        Ok(answer.json().clone())
    }

    /// Runs a script that gives a promise.
    ///
    /// # Errors
    /// The promise is refused, or the browser does not answer.
    pub async fn js_promise(&self, expression: &str) -> Result<Value> {
        let script = format!(
            "const done = arguments[arguments.length - 1]; (async () => ({expression}))().then((value) => done({{value}}), (error) => done({{error: String(error)}}));"
        );
        let answer = self.driver()?.execute_async(script, Vec::new()).await?.json().clone();
        match answer["error"].as_str() {
            Some(error) => bail!("{error} in {expression}"),
            None => Ok(answer["value"].clone()),
        }
    }

    /// Waits until a script gives something other than null, false or an empty text.
    ///
    /// # Errors
    /// It does not within the deadline; `what` says what was waited for.
    pub async fn until(&self, what: &str, within: Duration, script: &str, arguments: &[Value]) -> Result<Value> {
        let began = Instant::now();
        loop {
            // A page that is just being left refuses scripts; the next look is at the new one.
            let last = match self.js(script, arguments).await {
                Ok(value) if is_something(&value) => return Ok(value),
                Ok(_) => None,
                Err(error) => Some(error),
            };
            if began.elapsed() > within {
                let also = last.map(|error| format!(" ({error:#})")).unwrap_or_default();
                return Err(self.failed(&format!("waited {}s for {what}{also}", within.as_secs())).await);
            }
            tokio::time::sleep(LOOK_EVERY).await;
        }
    }

    async fn element(&self, what: &str, script: &str, arguments: &[Value]) -> Result<WebElement> {
        let began = Instant::now();
        let script = format!("{FINDERS}\n{script}");
        loop {
            let found = self.driver()?.execute(script.clone(), arguments.to_vec()).await;
            if let Ok(answer) = found
                && let Ok(element) = answer.element()
            {
                return Ok(element);
            }
            if began.elapsed() > WITHIN {
                return Err(self.failed(&format!("did not find {what}")).await);
            }
            tokio::time::sleep(LOOK_EVERY).await;
        }
    }

    /// Presses what has this word on it: a button or a link that can be pressed.
    ///
    /// # Errors
    /// There is none within the deadline.
    pub async fn press(&self, word: &str) -> Result<()> {
        self.press_found(
            &format!("something to press that says {word:?}"),
            "return findPressable(arguments[0])",
            &[json!(word)],
        )
        .await
    }

    /// Presses what a selector names.
    ///
    /// # Errors
    /// There is nothing within the deadline, or something lies above it.
    pub async fn press_css(&self, css: &str) -> Result<()> {
        self.press_found(css, "return findCss(arguments[0])", &[json!(css)]).await
    }

    /// A press by the pointer; what the page draws anew in between is found again.
    async fn press_found(&self, what: &str, script: &str, arguments: &[Value]) -> Result<()> {
        let began = Instant::now();
        loop {
            let element = self.element(what, script, arguments).await?;
            // A person scrolls until what they want is clear of the bar at the bottom.
            let _ = self.driver()?.execute(MIDDLE, vec![element.to_json()?]).await;
            match element.click().await {
                Ok(()) => return Ok(()),
                Err(error) if began.elapsed() > WITHIN => {
                    return Err(self.failed(&format!("{what} cannot be pressed: {error}")).await);
                }
                Err(_) => tokio::time::sleep(LOOK_EVERY).await,
            }
        }
    }

    /// The person takes the device in hand: a key that writes nothing. What rests for lack of a way to the server is tried soon after.
    ///
    /// # Errors
    /// The browser does not answer.
    pub async fn touch(&self) -> Result<()> {
        for kind in ["keyDown", "keyUp"] {
            self.cdp("Input.dispatchKeyEvent", json!({"type": kind, "key": "Shift", "code": "ShiftLeft"})).await?;
        }
        Ok(())
    }

    /// Types into the field with this label, after emptying it.
    ///
    /// # Errors
    /// There is no such field within the deadline.
    pub async fn fill(&self, label: &str, text: &str) -> Result<()> {
        let element =
            self.element(&format!("a field {label:?}"), "return findField(arguments[0])", &[json!(label)]).await?;
        self.type_into(&element, text).await.with_context(|| format!("typing into {label:?}"))
    }

    /// As [`Browser::fill`], within the group (fieldset) of this name.
    ///
    /// # Errors
    /// There is no such field within the deadline.
    pub async fn fill_in(&self, group: &str, label: &str, text: &str) -> Result<()> {
        let (what, arguments) = (format!("a field {label:?} in {group:?}"), [json!(group), json!(label)]);
        let element = self.element(&what, "return findFieldIn(arguments[0], arguments[1])", &arguments).await?;
        self.type_into(&element, text).await.with_context(|| format!("typing into {label:?} of {group:?}"))
    }

    /// Types into what a selector names, after emptying it.
    ///
    /// # Errors
    /// There is nothing within the deadline.
    pub async fn fill_css(&self, css: &str, text: &str) -> Result<()> {
        let element = self.element(css, "return findCss(arguments[0])", &[json!(css)]).await?;
        self.type_into(&element, text).await.with_context(|| format!("typing into {css}"))
    }

    async fn type_into(&self, element: &WebElement, text: &str) -> Result<()> {
        if element.attr("type").await?.as_deref() == Some("date") {
            // A calendar takes keys in the order of its language; its value does not.
            let script = "arguments[0].value = arguments[1]; arguments[0].dispatchEvent(new Event('input', {bubbles: true})); arguments[0].dispatchEvent(new Event('change', {bubbles: true}));";
            self.driver()?.execute(script, vec![element.to_json()?, json!(text)]).await?;
            return Ok(());
        }
        element.clear().await?;
        element.send_keys(text).await?;
        Ok(())
    }

    /// Ticks a box or a row of a choice by its words.
    ///
    /// # Errors
    /// There is none within the deadline.
    pub async fn tick(&self, words: &str) -> Result<()> {
        let what = format!("something to tick that says {words:?}");
        self.press_found(
            &what,
            "const box = findTick(arguments[0]); return box && !box.disabled ? box.closest('label') ?? box : null",
            &[json!(words)],
        )
        .await
    }

    /// Chooses from a list by the list's label and the choice's words.
    ///
    /// # Errors
    /// There is no such list or choice within the deadline.
    pub async fn choose(&self, label: &str, option: &str) -> Result<()> {
        let what = format!("a list {label:?} with {option:?}");
        let script = "return choose(findField(arguments[0]), arguments[1])";
        self.until(&what, WITHIN, script, &[json!(label), json!(option)]).await.map(drop)
    }

    /// As [`Browser::choose`], within the group (fieldset) of this name.
    ///
    /// # Errors
    /// There is no such list or choice within the deadline.
    pub async fn choose_in(&self, group: &str, label: &str, option: &str) -> Result<()> {
        let what = format!("a list {label:?} in {group:?} with {option:?}");
        let script = "return choose(findFieldIn(arguments[0], arguments[1]), arguments[2])";
        self.until(&what, WITHIN, script, &[json!(group), json!(label), json!(option)]).await.map(drop)
    }

    /// Gives files to the chooser that a selector names, as the camera or the gallery does.
    ///
    /// # Errors
    /// There is no such chooser within the deadline.
    pub async fn choose_files(&self, css: &str, files: &[&Path]) -> Result<()> {
        let script = "return document.querySelector(arguments[0])";
        let element = self.element(&format!("a file chooser {css}"), script, &[json!(css)]).await?;
        let names: Vec<String> = files.iter().map(|file| file.display().to_string()).collect();
        element.send_keys(names.join("\n")).await?;
        Ok(())
    }

    /// Waits until these words can be read on the page.
    ///
    /// # Errors
    /// They cannot within the deadline.
    pub async fn see(&self, words: &str) -> Result<()> {
        self.see_within(words, WITHIN).await
    }

    /// As [`Browser::see`], with another deadline.
    ///
    /// # Errors
    /// They cannot be read within it.
    pub async fn see_within(&self, words: &str, within: Duration) -> Result<()> {
        self.until(
            &format!("the words {words:?}"),
            within,
            "return pageWords().includes(arguments[0])",
            &[json!(words)],
        )
        .await?;
        Ok(())
    }

    /// Waits until a selector finds something.
    ///
    /// # Errors
    /// It does not within the deadline.
    pub async fn see_css(&self, css: &str) -> Result<()> {
        self.until(css, WITHIN, "return !!findCss(arguments[0])", &[json!(css)]).await?;
        Ok(())
    }

    /// Waits until the address is this.
    ///
    /// # Errors
    /// It is not within the deadline.
    pub async fn at(&self, path: &str) -> Result<()> {
        self.until(&format!("the address {path}"), WITHIN, "return location.pathname === arguments[0]", &[json!(path)])
            .await?;
        Ok(())
    }

    /// All words that can be read on the page.
    ///
    /// # Errors
    /// The browser does not answer.
    pub async fn words(&self) -> Result<String> {
        Ok(self.js("return pageWords()", &[]).await?.as_str().unwrap_or_default().to_owned())
    }

    /// Waits until the service worker holds the whole app and is in charge: from here on the page opens without a network.
    ///
    /// # Errors
    /// It is not within the deadline.
    pub async fn until_it_opens_offline(&self) -> Result<()> {
        let script = "return !!navigator.serviceWorker?.controller || (navigator.serviceWorker.getRegistration('/').then((found) => { window.__active = found?.active?.state === 'activated'; }), window.__active)";
        self.until("an installed service worker", WITHIN, script, &[]).await?;
        Ok(())
    }

    /// A test's own finding; leaves the same traces as a wait that ended.
    ///
    /// # Errors
    /// `good` is false.
    pub async fn check(&self, good: bool, what: &str) -> Result<()> {
        if good { Ok(()) } else { Err(self.failed(what).await) }
    }

    /// Saves a picture of what is in sight.
    ///
    /// # Errors
    /// The browser does not answer or the file cannot be written.
    pub async fn picture(&self, file: &Path) -> Result<()> {
        if let Some(folder) = file.parent() {
            std::fs::create_dir_all(folder)?;
        }
        std::fs::write(file, self.driver()?.screenshot_as_png().await?)?;
        Ok(())
    }

    /// An error with a picture, the page's words and the browser's log beside it.
    pub async fn failed(&self, what: &str) -> Error {
        let folder = failures_folder();
        let stem = format!("{}-{}", self.name, now_ms());
        let picture = folder.join(format!("{stem}.png"));
        let _ = self.picture(&picture).await;
        let path = self.path().await.unwrap_or_default();
        let words = self.words().await.unwrap_or_default();
        let log = self.console().await.unwrap_or_default();
        let text = format!("{what}\n\n== address\n{path}\n\n== words\n{words}\n\n== log\n{log}\n");
        let _ = std::fs::create_dir_all(&folder);
        let _ = std::fs::write(folder.join(format!("{stem}.txt")), &text);
        anyhow!("{}: {what}\n  at {path}; see {}\n  words: {}", self.name, picture.display(), shorten(&words))
    }

    /// What the page and the browser wrote to the console since this was asked last.
    ///
    /// # Errors
    /// The driver does not answer.
    pub async fn console(&self) -> Result<String> {
        let session = self.driver()?.handle.session_id().to_string();
        let answer: Value = reqwest::Client::new()
            .post(format!("{}/session/{session}/se/log", self.driver_url))
            .json(&json!({"type": "browser"}))
            .send()
            .await?
            .json()
            .await?;
        let lines = answer["value"].as_array().cloned().unwrap_or_default();
        Ok(lines
            .iter()
            .map(|line| {
                format!("{} {}\n", line["level"].as_str().unwrap_or(""), line["message"].as_str().unwrap_or(""))
            })
            .collect())
    }
}

impl Drop for Browser {
    fn drop(&mut self) {
        if let Some(driver) = self.driver.take() {
            let _ = driver.leak();
        }
        let numbers: Vec<String> = self.processes().iter().map(ToString::to_string).collect();
        if !numbers.is_empty() {
            let _ = std::process::Command::new("kill").arg("-9").args(&numbers).stderr(Stdio::null()).status();
        }
        let _ = self.chromedriver.start_kill();
    }
}

struct Process {
    id: u32,
    parent: u32,
    command: String,
}

fn all_processes() -> Vec<Process> {
    let Ok(entries) = std::fs::read_dir("/proc") else { return Vec::new() };
    let one = |entry: std::io::Result<std::fs::DirEntry>| {
        let path = entry.ok()?.path();
        let id = path.file_name()?.to_str()?.parse().ok()?;
        let stat = std::fs::read_to_string(path.join("stat")).ok()?;
        // The name in brackets may hold anything; state and parent follow it.
        let mut behind = stat.rsplit_once(')')?.1.split_whitespace();
        let state = behind.next()?;
        let parent = behind.next()?.parse().ok()?;
        let command = std::fs::read_to_string(path.join("cmdline")).ok()?.replace('\0', " ");
        (state != "Z").then_some(Process { id, parent, command })
    };
    entries.filter_map(one).collect()
}

fn is_something(value: &Value) -> bool {
    match value {
        Value::Null => false,
        Value::Bool(truth) => *truth,
        Value::String(text) => !text.is_empty(),
        Value::Number(_) | Value::Array(_) | Value::Object(_) => true,
    }
}

fn shorten(words: &str) -> String {
    const MOST: usize = 600;
    let line = words.split_whitespace().collect::<Vec<_>>().join(" ");
    if line.chars().count() > MOST { format!("{}…", line.chars().take(MOST).collect::<String>()) } else { line }
}

/// `target/browser-failures`.
pub fn failures_folder() -> PathBuf {
    target_folder().join("browser-failures")
}

/// `target`, wherever cargo was told to put it.
pub fn target_folder() -> PathBuf {
    std::env::var_os("CARGO_TARGET_DIR")
        .map_or_else(|| Path::new(env!("CARGO_MANIFEST_DIR")).join("../target"), PathBuf::from)
}

fn now_ms() -> u128 {
    std::time::SystemTime::now().duration_since(std::time::UNIX_EPOCH).map_or(0, |since| since.as_millis())
}
