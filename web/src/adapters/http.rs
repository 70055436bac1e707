//! Requests of sync: bytes there and bytes back, given up when nothing moves for too long.
//!
//! Beside [`super::fetch`], which serves screens, because sync needs what screens do not: bodies that stay in the
//! browser's memory, a limit that grows with the body, `Retry-After`, and an answer of its own for each way to fail.
#![allow(clippy::disallowed_methods, reason = "adapters read the browser's clock")]

use super::file_bytes::FileBytes;
use domain::tray::Failure;
use domain::wire::sync::{PROTOCOL_HEADER, PROTOCOL_VALUE};
use gloo_timers::callback::Timeout;
use js_sys::{Date, Reflect, Uint8Array};
use std::cell::RefCell;
use std::rc::Rc;
use wasm_bindgen::{JsCast, JsValue};
use wasm_bindgen_futures::JsFuture;
use web_sys::{
    AbortController, Headers, ReadableStreamDefaultReader, Request, RequestCache, RequestCredentials, RequestInit,
    RequestRedirect, Response,
};

/// So long nothing may arrive.
const SILENCE_MS: u32 = 30_000;
/// The browser does not say how far a body has gone out, so its time is reckoned: at this many bytes a second the
/// slowest link that is still of use has sent it.
const SLOWEST_BYTES_PER_S: u64 = 3_000;

/// A request.
pub(super) struct Ask<'a> {
    pub(super) method: &'static str,
    pub(super) path: &'a str,
    pub(super) headers: Vec<(&'static str, String)>,
    pub(super) body: Option<FileBytes>,
}

/// An answer of our server.
pub(super) struct Told {
    pub(super) status: u16,
    headers: Headers,
    pub(super) body: Vec<u8>,
}

impl Told {
    pub(super) fn header(&self, name: &str) -> Option<String> {
        self.headers.get(name).ok().flatten()
    }

    pub(super) fn is_of(&self, media_type: &str) -> bool {
        self.header("content-type").is_some_and(|own| own.starts_with(media_type))
    }

    /// The refusal that this status stands for.
    pub(super) fn refusal(&self) -> Failure {
        Failure::Status { status: self.status, retry_after_ms: self.retry_after_ms() }
    }

    /// `Retry-After` in both its forms. A date is reckoned against the server's own clock, never the device's.
    fn retry_after_ms(&self) -> Option<u64> {
        let text = self.header("retry-after")?;
        if let Ok(seconds) = text.trim().parse::<u64>() {
            return Some(seconds.saturating_mul(1_000));
        }
        let (until, now) = (Date::parse(&text), Date::parse(&self.header("date")?));
        #[allow(
            clippy::cast_possible_truncation,
            clippy::cast_sign_loss,
            reason = "checked to be a span that is not negative"
        )]
        (until.is_finite() && until >= now).then_some((until - now) as u64)
    }
}

/// The request under way, so that a page that wakes can give it up.
#[derive(Clone, Default)]
pub(super) struct Underway(Rc<RefCell<Option<Patience>>>);

struct Patience {
    controller: AbortController,
    last_move_ms: f64,
    limit_ms: u32,
    _timer: Timeout,
}

impl Underway {
    fn begin(&self, controller: AbortController, limit_ms: u32) {
        self.0.replace(Some(Patience::new(controller, limit_ms)));
    }

    fn moved(&self) {
        let held = self.0.take();
        self.0.replace(held.map(|patience| Patience::new(patience.controller, SILENCE_MS)));
    }

    fn end(&self) {
        self.0.take();
    }

    /// Timers stand still while a page sleeps; its sockets die all the same.
    pub(super) fn give_up_if_silent(&self) {
        let is_dead =
            self.0.borrow().as_ref().is_some_and(|held| Date::now() - held.last_move_ms > f64::from(held.limit_ms));
        if is_dead && let Some(held) = self.0.take() {
            held.controller.abort();
        }
    }
}

/// Gives a long answer up when nothing has come for a while.
pub(super) struct Silence(RefCell<Patience>, u32);

impl Silence {
    pub(super) fn new(controller: AbortController, limit_ms: u32) -> Self {
        Self(RefCell::new(Patience::new(controller, limit_ms)), limit_ms)
    }

    pub(super) fn moved(&self) {
        let controller = self.0.borrow().controller.clone();
        self.0.replace(Patience::new(controller, self.1));
    }
}

impl Patience {
    fn new(controller: AbortController, limit_ms: u32) -> Self {
        let of = controller.clone();
        let timer = Timeout::new(limit_ms, move || of.abort());
        Self { controller, last_move_ms: Date::now(), limit_ms, _timer: timer }
    }
}

/// Sends a request and reads all of its answer.
///
/// # Errors
/// [`Failure::NoConnection`] and [`Failure::NotOurServer`]. A refusal of our server is an answer.
pub(super) async fn send(underway: &Underway, ask: Ask<'_>, token: Option<&str>) -> Result<Told, Failure> {
    let result = exchange(underway, ask, token).await;
    underway.end();
    result
}

async fn exchange(underway: &Underway, ask: Ask<'_>, token: Option<&str>) -> Result<Told, Failure> {
    let controller = AbortController::new().map_err(|_| Failure::NoConnection)?;
    let length = ask.body.as_ref().map_or(0, FileBytes::len);
    let for_body = u32::try_from(length * 1_000 / SLOWEST_BYTES_PER_S).unwrap_or(u32::MAX / 2);
    let request = request(ask, token, &controller).map_err(|_| Failure::NoConnection)?;
    let window = web_sys::window().ok_or(Failure::NoConnection)?;
    underway.begin(controller, SILENCE_MS.saturating_add(for_body));
    let response = JsFuture::from(window.fetch_with_request(&request)).await.map_err(|_| Failure::NoConnection)?;
    let response: Response = response.dyn_into().map_err(|_| Failure::NotOurServer)?;
    underway.moved();
    let headers = response.headers();
    let status = response.status();
    if headers.get(PROTOCOL_HEADER).ok().flatten().as_deref() != Some(PROTOCOL_VALUE) {
        return Err(foreign(&Told { status, headers, body: Vec::new() }));
    }
    let body = read(&response, underway).await?;
    Ok(Told { status, headers, body })
}

/// Without our header it is not our server that speaks. Of what a proxy in front of it says, a few words still help: too
/// large, too many, not now.
fn foreign(told: &Told) -> Failure {
    match told.status {
        413 | 429 | 502..=504 => told.refusal(),
        _ => Failure::NotOurServer,
    }
}

fn request(ask: Ask<'_>, token: Option<&str>, controller: &AbortController) -> Result<Request, JsValue> {
    let headers = Headers::new()?;
    for (name, value) in &ask.headers {
        headers.set(name, value)?;
    }
    headers.set("x-witnessmark", "1")?;
    if let Some(token) = token {
        headers.set("authorization", &format!("Bearer {token}"))?;
    }
    let init = RequestInit::new();
    init.set_method(ask.method);
    init.set_headers(&headers);
    init.set_credentials(RequestCredentials::SameOrigin);
    init.set_cache(RequestCache::NoStore);
    // A redirect to a login page is not followed: it then shows as an answer that is not ours.
    init.set_redirect(RequestRedirect::Manual);
    init.set_signal(Some(&controller.signal()));
    if let Some(body) = ask.body {
        init.set_body(&body.buffer());
    }
    Request::new_with_str_and_init(ask.path, &init)
}

async fn read(response: &Response, underway: &Underway) -> Result<Vec<u8>, Failure> {
    let mut all = Vec::new();
    let Some(stream) = response.body() else { return Ok(all) };
    let reader: ReadableStreamDefaultReader = stream.get_reader().dyn_into().map_err(|_| Failure::NotOurServer)?;
    loop {
        let chunk = JsFuture::from(reader.read()).await.map_err(|_| Failure::NoConnection)?;
        underway.moved();
        if is_last(&chunk) {
            return Ok(all);
        }
        all.extend_from_slice(&bytes_of(&chunk).ok_or(Failure::NoConnection)?);
    }
}

fn is_last(chunk: &JsValue) -> bool {
    Reflect::get(chunk, &"done".into()).is_ok_and(|done| done.is_truthy())
}

fn bytes_of(chunk: &JsValue) -> Option<Vec<u8>> {
    Reflect::get(chunk, &"value".into()).ok()?.dyn_into::<Uint8Array>().ok().map(|bytes| bytes.to_vec())
}

/// The next piece of a long answer; `None` when it has ended or broken.
pub(super) async fn chunk_of(reader: &ReadableStreamDefaultReader) -> Option<Vec<u8>> {
    let chunk = JsFuture::from(reader.read()).await.ok()?;
    if is_last(&chunk) { None } else { bytes_of(&chunk) }
}

/// Asks for a long answer of a media type and waits for its head.
///
/// # Errors
/// As [`send`]; also where our server answers with something else than was asked for.
pub(super) async fn begin(
    path: &str,
    media_type: &str,
    token: &str,
    controller: &AbortController,
) -> Result<Response, Failure> {
    let ask = Ask { method: "GET", path, headers: vec![("accept", media_type.to_owned())], body: None };
    let request = request(ask, Some(token), controller).map_err(|_| Failure::NoConnection)?;
    let window = web_sys::window().ok_or(Failure::NoConnection)?;
    let response = JsFuture::from(window.fetch_with_request(&request)).await.map_err(|_| Failure::NoConnection)?;
    let response: Response = response.dyn_into().map_err(|_| Failure::NotOurServer)?;
    let header = |name: &str| response.headers().get(name).ok().flatten();
    if header(PROTOCOL_HEADER).as_deref() != Some(PROTOCOL_VALUE) {
        return Err(Failure::NotOurServer);
    }
    let is_asked_for = header("content-type").is_some_and(|own| own.starts_with(media_type));
    if response.ok() && !is_asked_for { Err(Failure::Unreadable) } else { Ok(response) }
}
