//! Somebody who uses the API: an access token in memory and the refresh cookie, both in plain sight of the test.

use std::net::Ipv4Addr;

use reqwest::Method;
use reqwest::header::{HeaderMap, HeaderName, HeaderValue, SET_COOKIE};
use serde_json::{Value, json};
use uuid::Uuid;

/// What came back.
#[derive(Clone, Debug)]
pub struct Answer {
    /// Status number.
    pub status: u16,
    /// Headers.
    pub headers: HeaderMap,
    /// JSON, or null where there was none.
    pub body: Value,
    /// The bytes themselves.
    pub bytes: Vec<u8>,
}

impl Answer {
    /// The stable word of a problem.
    pub fn code(&self) -> &str {
        self.body["code"].as_str().unwrap_or("")
    }

    /// Status and code, to compare at once.
    pub fn problem(&self) -> (u16, &str) {
        (self.status, self.code())
    }

    /// A header as text; empty when absent.
    pub fn header(&self, name: &str) -> &str {
        self.headers.get(name).and_then(|value| value.to_str().ok()).unwrap_or("")
    }

    /// The refresh token that this answer sets.
    pub fn cookie(&self) -> Option<String> {
        let line = self.headers.get(SET_COOKIE)?.to_str().ok()?;
        let value = line.strip_prefix("__Host-witnessmark=")?.split(';').next()?;
        (!value.is_empty()).then(|| value.to_owned())
    }
}

/// Somebody.
#[derive(Clone, Debug)]
pub struct Client {
    http: reqwest::Client,
    base: String,
    /// Access token.
    pub token: Option<String>,
    /// Refresh token.
    pub cookie: Option<String>,
    /// `Session` of the last sign-in or refresh.
    pub session: Value,
}

impl Client {
    /// Without a session.
    pub fn new(base: &str) -> Self {
        // Connections are kept by a client: tests that count on order must not share them with others.
        let http = reqwest::Client::builder().build().expect("a client");
        Self { http, base: base.to_owned(), token: None, cookie: None, session: Value::Null }
    }

    /// Without a session, from a network address of its own, for a server that trusts what its front says of that.
    pub fn from_address(base: &str, address: Ipv4Addr) -> Self {
        let said = HeaderValue::from_str(&address.to_string()).expect("digits and dots");
        let headers = HeaderMap::from_iter([(HeaderName::from_static("x-forwarded-for"), said)]);
        let http = reqwest::Client::builder().default_headers(headers).build().expect("a client");
        Self { http, ..Self::new(base) }
    }

    /// Who this is.
    pub fn person(&self) -> Uuid {
        self.session["person"]["id"].as_str().and_then(|id| id.parse().ok()).expect("a session")
    }

    /// On which enrolment.
    pub fn device(&self) -> Uuid {
        self.session["device"].as_str().and_then(|id| id.parse().ok()).expect("a session")
    }

    /// Of which firm.
    pub fn firm(&self) -> Uuid {
        self.session["firm"]["id"].as_str().and_then(|id| id.parse().ok()).expect("a session")
    }

    /// Signs in and keeps what comes back.
    pub async fn sign_in(&mut self, email: &str, password: &str, device: Option<Uuid>) -> Answer {
        let body = json!({"email": email, "password": password, "device": device, "device_label": "test device"});
        let answer = self.post("/api/session", &body).await;
        self.keep(&answer);
        answer
    }

    /// Refreshes with the kept cookie and keeps what comes back.
    pub async fn refresh(&mut self) -> Answer {
        let cookie = self.cookie.clone().unwrap_or_default();
        let answer = self.refresh_with(&cookie).await;
        self.keep(&answer);
        answer
    }

    /// Refreshes with this cookie and keeps nothing: an answer that gets lost, or a thief.
    pub async fn refresh_with(&self, cookie: &str) -> Answer {
        let request = self.request(Method::POST, "/api/session/refresh").header("x-witnessmark", "1");
        send(request.header("cookie", format!("__Host-witnessmark={cookie}"))).await
    }

    /// As [`Client::refresh`] where the way may break: then what is kept stays as it was.
    ///
    /// # Errors
    /// No whole answer came.
    pub async fn try_refresh(&mut self) -> reqwest::Result<Answer> {
        let cookie = self.cookie.clone().unwrap_or_default();
        let request = self.request(Method::POST, "/api/session/refresh").header("x-witnessmark", "1");
        let answer = try_send(request.header("cookie", format!("__Host-witnessmark={cookie}"))).await?;
        self.keep(&answer);
        Ok(answer)
    }

    /// Goes on at another address: another road to the same server.
    pub fn by(&mut self, base: &str) {
        base.clone_into(&mut self.base);
    }

    /// Signs out.
    pub async fn sign_out(&self) -> Answer {
        let cookie = self.cookie.clone().unwrap_or_default();
        let request = self.request(Method::DELETE, "/api/session").header("x-witnessmark", "1");
        send(request.header("cookie", format!("__Host-witnessmark={cookie}"))).await
    }

    /// Asks.
    pub async fn get(&self, path: &str) -> Answer {
        send(self.request(Method::GET, path)).await
    }

    /// Sends JSON.
    pub async fn post(&self, path: &str, body: &Value) -> Answer {
        send(self.request(Method::POST, path).json(body)).await
    }

    /// Changes something.
    pub async fn patch(&self, path: &str, body: &Value) -> Answer {
        send(self.request(Method::PATCH, path).json(body)).await
    }

    /// Removes something.
    pub async fn delete(&self, path: &str) -> Answer {
        send(self.request(Method::DELETE, path)).await
    }

    /// Sends CBOR.
    pub async fn post_cbor(&self, path: &str, body: Vec<u8>) -> Answer {
        send(self.request(Method::POST, path).header("content-type", "application/cbor").body(body)).await
    }

    /// A request with this person's token, for whatever the methods above do not offer.
    pub fn request(&self, method: Method, path: &str) -> reqwest::RequestBuilder {
        let request = self.http.request(method, format!("{}{path}", self.base));
        match &self.token {
            Some(token) => request.bearer_auth(token),
            None => request,
        }
    }

    fn keep(&mut self, answer: &Answer) {
        if answer.status == 200 {
            self.token = answer.body["access_token"].as_str().map(str::to_owned);
            self.cookie = answer.cookie();
            self.session = answer.body.clone();
        }
    }
}

/// Sends a request that [`Client::request`] began.
///
/// # Panics
/// The server does not answer.
pub async fn send(request: reqwest::RequestBuilder) -> Answer {
    try_send(request).await.expect("the server answers")
}

/// The same where the way to the server may break.
///
/// # Errors
/// No whole answer came.
pub async fn try_send(request: reqwest::RequestBuilder) -> reqwest::Result<Answer> {
    let response = request.send().await?;
    let status = response.status().as_u16();
    let headers = response.headers().clone();
    let bytes = response.bytes().await?.to_vec();
    let body = serde_json::from_slice(&bytes).unwrap_or(Value::Null);
    Ok(Answer { status, headers, body, bytes })
}
