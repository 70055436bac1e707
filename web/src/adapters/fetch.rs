//! Calls to our server: with the bearer token, renewed once where it ran out; with a limit on silence; with typed refusals.
//!
//! An answer without our protocol header is somebody else's (a guest network's login page) and never taken for ours.

use std::cell::{Cell, RefCell};
use std::rc::Rc;

use gloo_timers::callback::Timeout;
use js_sys::{Reflect, Uint8Array};
use leptos::prelude::*;
use serde::Serialize;
use serde::de::DeserializeOwned;
use wasm_bindgen::{JsCast, JsValue};
use wasm_bindgen_futures::JsFuture;

use super::browser;
use crate::refusal::{Refusal, judge};
use crate::session::SessionAnswer;

/// So long nothing may arrive before a call is given up.
const SILENCE_MS: u32 = 20_000;
/// For what the server first has to make: a report with a hundred photos.
const MAKING_MS: u32 = 180_000;
/// No foreign page can send it: the server asks for it where the cookie decides.
const OWN_APP_HEADER: &str = "x-witnessmark";
/// One renewal at a time in all tabs: the refresh token is rotated.
const RENEWAL_LOCK: &str = "witnessmark-session";
const JSON: &str = "application/json";

/// One call.
#[derive(Clone, Debug)]
pub struct Call {
    method: &'static str,
    path: String,
    headers: Vec<(&'static str, String)>,
    body: Vec<u8>,
    without_token: bool,
    silence_ms: u32,
}

impl Call {
    /// A call with an HTTP method and an address below our origin.
    pub fn new(method: &'static str, path: impl Into<String>) -> Self {
        Self {
            method,
            path: path.into(),
            headers: Vec::new(),
            body: Vec::new(),
            without_token: false,
            silence_ms: SILENCE_MS,
        }
    }

    /// Adds a header.
    pub fn header(mut self, name: &'static str, value: impl Into<String>) -> Self {
        self.headers.push((name, value.into()));
        self
    }

    /// Sends bytes of a media type.
    pub fn bytes(mut self, media_type: &str, body: Vec<u8>) -> Self {
        self.body = body;
        self.header("content-type", media_type)
    }

    /// Sends JSON.
    pub fn json(self, body: &impl Serialize) -> Self {
        // Our own plain structs: nothing in them can fail to be written.
        let body = serde_json::to_vec(body).unwrap_or_default();
        self.bytes(JSON, body)
    }

    /// For what the server makes first, which takes its time.
    pub fn patient(mut self) -> Self {
        self.silence_ms = MAKING_MS;
        self
    }

    /// For calls that anybody may make: no token is sent and none is renewed.
    pub fn anonymous(mut self) -> Self {
        self.without_token = true;
        self
    }
}

/// An answer of our server with a status of success.
pub struct Answer {
    /// HTTP status, 200 to 299.
    pub status: u16,
    /// All bytes of the body.
    pub body: Vec<u8>,
    headers: web_sys::Headers,
}

impl Answer {
    /// A header of the answer.
    pub fn header(&self, name: &str) -> Option<String> {
        self.headers.get(name).ok().flatten()
    }

    /// The body as JSON.
    ///
    /// # Errors
    /// [`Refusal::Damaged`].
    pub fn json<T: DeserializeOwned>(&self) -> Result<T, Refusal> {
        serde_json::from_slice(&self.body).map_err(|_| Refusal::Damaged)
    }
}

/// What became of the session during a call.
pub enum Renewal {
    /// There is a new token; person and firm may have changed.
    Renewed(Box<SessionAnswer>),
    /// The server wants a new sign-in; the code says why.
    Ended(String),
}

type Watcher = Box<dyn Fn(Renewal)>;

#[derive(Default)]
struct Inner {
    token: RefCell<Option<String>>,
    watcher: RefCell<Option<Watcher>>,
    answered: RefCell<Option<Rc<dyn Fn()>>>,
}

/// The way to our server; a context, `Copy`.
#[derive(Clone, Copy)]
pub struct Api(StoredValue<Rc<Inner>, LocalStorage>);

/// The [`Api`] of the app.
pub fn use_api() -> Api {
    expect_context::<Api>()
}

impl Default for Api {
    fn default() -> Self {
        Self(StoredValue::new_local(Rc::default()))
    }
}

impl Api {
    /// Who hears of a renewed or ended session.
    pub fn watch(self, watcher: impl Fn(Renewal) + 'static) {
        self.0.with_value(|inner| inner.watcher.replace(Some(Box::new(watcher))));
    }

    /// Who hears that our server has answered a screen.
    pub fn on_answer(self, answered: impl Fn() + 'static) {
        self.0.with_value(|inner| inner.answered.replace(Some(Rc::new(answered))));
    }

    /// The access token that is held now, for a stream that is read elsewhere.
    pub fn token(self) -> Option<String> {
        self.0.with_value(|inner| inner.token.borrow().clone())
    }

    /// Holds another access token, or none.
    pub fn set_token(self, token: Option<String>) {
        self.0.with_value(|inner| inner.token.replace(token));
    }

    /// Makes a call and waits for all of its answer.
    ///
    /// # Errors
    /// [`Refusal`]: everything but a status of success by our server.
    pub async fn send(self, call: Call) -> Result<Answer, Refusal> {
        let answer = self.send_with_access(call).await;
        if answer.is_ok() {
            let answered = self.0.with_value(|inner| inner.answered.borrow().clone());
            answered.into_iter().for_each(|answered| answered());
        }
        answer
    }

    async fn send_with_access(self, call: Call) -> Result<Answer, Refusal> {
        if call.without_token {
            return exchange(&call, None).await;
        }
        if self.token().is_none() {
            self.renew(None).await?;
        }
        let token = self.token();
        match exchange(&call, token.as_deref()).await {
            Err(Refusal::Problem { status: 401, code }) if code.starts_with("token_") => {
                self.renew(token).await?;
                exchange(&call, self.token().as_deref()).await
            }
            other => other,
        }
    }

    /// `GET`, JSON back.
    ///
    /// # Errors
    /// [`Refusal`].
    pub async fn get<T: DeserializeOwned>(self, path: impl Into<String>) -> Result<T, Refusal> {
        self.send(Call::new("GET", path)).await?.json()
    }

    /// JSON there, JSON back.
    ///
    /// # Errors
    /// [`Refusal`].
    pub async fn exchange<T: DeserializeOwned>(
        self,
        method: &'static str,
        path: impl Into<String>,
        body: &impl Serialize,
    ) -> Result<T, Refusal> {
        self.send(Call::new(method, path).json(body)).await?.json()
    }

    /// Renews the access token by the cookie, unless somebody has done it since `stale` was read.
    ///
    /// # Errors
    /// [`Refusal::SignIn`] where the session is over; else what the network did.
    pub async fn renew(self, stale: Option<String>) -> Result<(), Refusal> {
        browser::with_lock(RENEWAL_LOCK, async move {
            if self.token() != stale {
                return Ok(());
            }
            match exchange(&Call::new("POST", "/api/session/refresh"), None).await {
                Ok(answer) => {
                    let session: SessionAnswer = answer.json()?;
                    self.set_token(Some(session.access_token.clone()));
                    self.tell(Renewal::Renewed(Box::new(session)));
                    Ok(())
                }
                Err(Refusal::Problem { status: 401, code }) => {
                    self.set_token(None);
                    self.tell(Renewal::Ended(code));
                    Err(Refusal::SignIn)
                }
                Err(other) => Err(other),
            }
        })
        .await
    }

    fn tell(self, renewal: Renewal) {
        self.0.with_value(|inner| {
            if let Some(watcher) = &*inner.watcher.borrow() {
                watcher(renewal);
            }
        });
    }
}

/// Gives a call up when nothing arrives for too long: `fetch` itself waits for ever.
struct Patience {
    controller: web_sys::AbortController,
    ran_out: Rc<Cell<bool>>,
    timer: RefCell<Option<Timeout>>,
    silence_ms: u32,
}

impl Patience {
    fn new(silence_ms: u32) -> Result<Self, Refusal> {
        let controller = web_sys::AbortController::new().map_err(|_| Refusal::Offline)?;
        let this = Self { controller, ran_out: Rc::default(), timer: RefCell::default(), silence_ms };
        this.renew();
        Ok(this)
    }

    fn renew(&self) {
        let (controller, ran_out) = (self.controller.clone(), Rc::clone(&self.ran_out));
        self.timer.replace(Some(Timeout::new(self.silence_ms, move || {
            ran_out.set(true);
            controller.abort();
        })));
    }

    /// What a failed promise of the browser means.
    fn refusal(&self) -> Refusal {
        if self.ran_out.get() { Refusal::Silence } else { Refusal::Offline }
    }
}

async fn exchange(call: &Call, token: Option<&str>) -> Result<Answer, Refusal> {
    let patience = Patience::new(call.silence_ms)?;
    let request = request(call, token, &patience).map_err(|_| Refusal::Offline)?;
    let window = web_sys::window().ok_or(Refusal::Offline)?;
    let response = JsFuture::from(window.fetch_with_request(&request)).await.map_err(|_| patience.refusal())?;
    let response: web_sys::Response = response.dyn_into().map_err(|_| Refusal::Damaged)?;
    let headers = response.headers();
    let protocol = headers.get(domain::wire::sync::PROTOCOL_HEADER).ok().flatten();
    patience.renew();
    // Somebody else's page is not even read.
    let body = if protocol.is_some() { read(&response, &patience).await? } else { Vec::new() };
    judge(response.status(), protocol.as_deref(), &body)?;
    Ok(Answer { status: response.status(), body, headers })
}

fn request(call: &Call, token: Option<&str>, patience: &Patience) -> Result<web_sys::Request, JsValue> {
    let headers = web_sys::Headers::new()?;
    for (name, value) in &call.headers {
        headers.set(name, value)?;
    }
    headers.set(OWN_APP_HEADER, "1")?;
    if let Some(token) = token {
        headers.set("authorization", &format!("Bearer {token}"))?;
    }
    let init = web_sys::RequestInit::new();
    init.set_method(call.method);
    init.set_headers(&headers);
    init.set_credentials(web_sys::RequestCredentials::SameOrigin);
    init.set_redirect(web_sys::RequestRedirect::Manual);
    init.set_signal(Some(&patience.controller.signal()));
    if !call.body.is_empty() {
        init.set_body(&Uint8Array::from(call.body.as_slice()));
    }
    web_sys::Request::new_with_str_and_init(&call.path, &init)
}

async fn read(response: &web_sys::Response, patience: &Patience) -> Result<Vec<u8>, Refusal> {
    let mut all = Vec::new();
    let Some(stream) = response.body() else { return Ok(all) };
    let reader: web_sys::ReadableStreamDefaultReader = stream.get_reader().dyn_into().map_err(|_| Refusal::Damaged)?;
    loop {
        let chunk = JsFuture::from(reader.read()).await.map_err(|_| patience.refusal())?;
        patience.renew();
        if Reflect::get(&chunk, &"done".into()).is_ok_and(|done| done.is_truthy()) {
            return Ok(all);
        }
        let bytes = Reflect::get(&chunk, &"value".into()).ok().and_then(|value| value.dyn_into::<Uint8Array>().ok());
        let Some(bytes) = bytes else { return Err(Refusal::Damaged) };
        let start = all.len();
        all.resize(start + bytes.length() as usize, 0);
        bytes.copy_to(&mut all[start..]);
    }
}
