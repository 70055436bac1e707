//! The way to our server for sync: CBOR for entries, tus for photos, the token renewed once where it ran out.
#![allow(clippy::disallowed_methods, reason = "adapters read the browser's clock")]

use super::file_bytes::FileBytes;
use super::http::{self, Ask, Told, Underway};
use super::live::Stream;
use super::packing;
use super::tus;
use crate::ports::Later;
use crate::ports::transport::{Access, Outgoing, Renewal, Transport};
use crate::store::Reference;
use domain::tray::{Answer, Failure};
use domain::wire::sync::{MEDIA_TYPE, PACK_FROM_BYTES};
use domain::wire::{from_bytes, to_bytes};
use js_sys::Date;
use std::cell::Cell;

const JSON: &str = "application/json";

/// Our server.
pub struct Server {
    access: Access,
    underway: Underway,
    stream: Stream,
    /// Its last answer said that it takes packed messages.
    takes_packed: Cell<bool>,
}

impl Server {
    /// By the session of the shell.
    pub fn new(access: Access) -> Self {
        Self { access, underway: Underway::default(), stream: Stream::default(), takes_packed: Cell::new(false) }
    }

    /// Sends with the token; renews it once when the server does not take it any more.
    async fn ask<'a>(&self, make: impl Fn() -> Ask<'a>) -> Result<Told, Failure> {
        let mut token = (self.access.token)();
        if token.is_none() {
            self.renew(None).await?;
            token = (self.access.token)();
        }
        let told = http::send(&self.underway, make(), token.as_deref()).await?;
        if told.status != 401 {
            return Ok(told);
        }
        self.renew(token).await?;
        let token = (self.access.token)();
        http::send(&self.underway, make(), token.as_deref()).await
    }

    async fn renew(&self, stale: Option<String>) -> Result<(), Failure> {
        match (self.access.renew)(stale).await {
            Renewal::Renewed => Ok(()),
            Renewal::SignInNeeded => Err(Failure::Status { status: 401, retry_after_ms: None }),
            Renewal::NoConnection => Err(Failure::NoConnection),
            Renewal::NotOurServer => Err(Failure::NotOurServer),
        }
    }

    async fn cbor(&self, path: &'static str, message: Vec<u8>) -> Result<Vec<u8>, Failure> {
        if self.takes_packed.get()
            && message.len() >= PACK_FROM_BYTES
            && let Some(packed) = packing::gzip(&message).await
        {
            let told = self.ask(|| post(path, FileBytes::of_buffer(packed.clone()), true)).await?;
            // An older process beside a newer one reads packed bytes as nonsense: to it the same goes out plain.
            if !matches!(told.status, 400 | 415) {
                return self.answered(told);
            }
            self.takes_packed.set(false);
        }
        let body = FileBytes::of(&message);
        let told = self.ask(|| post(path, body.clone(), false)).await?;
        self.answered(told)
    }

    fn answered(&self, told: Told) -> Result<Vec<u8>, Failure> {
        let told = accepted(told, MEDIA_TYPE)?;
        self.takes_packed.set(packing::is_taken(told.header("accept-encoding").as_deref()));
        Ok(told.body)
    }

    async fn send_one(&self, outgoing: Outgoing) -> Result<Answer, Failure> {
        match outgoing {
            Outgoing::Push(push) => {
                let bytes = self.cbor("/api/sync/push", to_bytes(&push)).await?;
                from_bytes(&bytes).map(Answer::Push).map_err(|_| Failure::Unreadable)
            }
            Outgoing::Pull(pull) => {
                let bytes = self.cbor("/api/sync/pull", to_bytes(&pull)).await?;
                from_bytes(&bytes).map(Answer::Pull).map_err(|_| Failure::Unreadable)
            }
            Outgoing::Reference => {
                let told = self.ask(|| get("/api/reference")).await?;
                let bytes = accepted(told, JSON)?.body;
                let reference: Reference = serde_json::from_slice(&bytes).map_err(|_| Failure::Unreadable)?;
                Ok(Answer::Reference { version: reference.version, methods: reference.method_refs(), bytes })
            }
            Outgoing::Method(method) => {
                let path = format!("/api/methods/{}/{}", method.id, method.version);
                let told = self.ask(|| get(&path)).await?;
                Ok(Answer::Method(accepted(told, MEDIA_TYPE)?.body))
            }
            Outgoing::CreateUpload(key, bytes) => Ok(tus::created(&self.ask(|| tus::create(&key, bytes)).await?)),
            Outgoing::AskUpload(key, upload) => Ok(tus::at(&self.ask(|| tus::ask(&upload)).await?, key.hash, 0)),
            Outgoing::SendSlice { key, upload, from, slice } => {
                let begun = Date::now();
                let told = self.ask(|| tus::send(&upload, from, slice.clone())).await?;
                #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "at least one millisecond")]
                let elapsed_ms = (Date::now() - begun).max(1.0) as u64;
                Ok(tus::at(&told, key.hash, elapsed_ms))
            }
        }
    }
}

fn get(path: &str) -> Ask<'_> {
    Ask { method: "GET", path, headers: Vec::new(), body: None }
}

fn post(path: &str, body: FileBytes, packed: bool) -> Ask<'_> {
    let mut headers = vec![("content-type", MEDIA_TYPE.into()), ("accept", MEDIA_TYPE.into())];
    if packed {
        headers.push(("content-encoding", "gzip".into()));
    }
    Ask { method: "POST", path, headers, body: Some(body) }
}

fn accepted(told: Told, media_type: &str) -> Result<Told, Failure> {
    match told.status {
        200..=299 if told.is_of(media_type) => Ok(told),
        200..=299 => Err(Failure::Unreadable),
        _ => Err(told.refusal()),
    }
}

impl Transport for Server {
    fn send(&self, outgoing: Outgoing) -> Later<'_, Answer> {
        Box::pin(async move { self.send_one(outgoing).await.unwrap_or_else(Answer::Failed) })
    }

    fn follow<'a>(&'a self, news: &'a dyn Fn()) -> Later<'a, ()> {
        Box::pin(self.stream.follow(&self.access, news))
    }

    fn hang_up(&self) {
        self.stream.hang_up();
    }

    fn woke(&self) {
        self.underway.give_up_if_silent();
    }
}
