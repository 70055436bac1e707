//! Requests of the tray as `web/src/adapters/{http,server,tus}.rs` make them, and what their answers mean.

use std::io::{Read as _, Write as _};
use std::time::Duration;

use base64::Engine as _;
use domain::ids::Hash32;
use domain::job_file::body::MethodRef;
use domain::tray::{Answer, Failure, PhotoAnswer, PhotoKey, PhotoStep, Request};
use domain::wire::sync::{MEDIA_TYPE, PACK_FROM_BYTES, PROTOCOL_HEADER, PROTOCOL_VALUE, Pull, Push, SYNC_VERSION};
use domain::wire::{from_bytes, to_bytes};
use flate2::Compression;
use flate2::read::MultiGzDecoder;
use flate2::write::GzEncoder;
use reqwest::Method as Verb;
use serde_json::Value;

use super::Device;
use crate::client;

/// The slowest link that is still of use.
const SLOWEST_BYTES_PER_S: u64 = 3_000;
/// What a browser says that it reads.
const ENCODINGS: &str = "gzip, deflate, br";
const BUFFER: usize = 16 * 1024;

/// A request before its session.
struct Ask {
    verb: Verb,
    path: String,
    headers: Vec<(&'static str, String)>,
    body: Vec<u8>,
}

/// Sends a request of the tray. A failure is an answer.
pub(super) async fn exchange(device: &mut Device, request: &Request) -> Answer {
    send_one(device, request).await.unwrap_or_else(Answer::Failed)
}

async fn send_one(device: &mut Device, request: &Request) -> Result<Answer, Failure> {
    match request {
        Request::Push(ids) => {
            let entries = ids.iter().map(|id| device.shelf.entries[id].1.envelope.clone()).collect();
            let push = Push { version: SYNC_VERSION, device: device.device(), entries };
            let bytes = cbor(device, "/api/sync/push", to_bytes(&push)).await?;
            from_bytes(&bytes).map(Answer::Push).map_err(|_| Failure::Unreadable)
        }
        Request::Pull { epoch, have, also, waiting, written } => {
            let pull = Pull {
                version: SYNC_VERSION,
                device: device.device(),
                epoch: epoch.clone().into(),
                have: have.clone(),
                also: also.clone(),
                waiting: *waiting,
                written: written.clone(),
            };
            let bytes = cbor(device, "/api/sync/pull", to_bytes(&pull)).await?;
            from_bytes(&bytes).map(Answer::Pull).map_err(|_| Failure::Unreadable)
        }
        Request::Reference => {
            let told = ask(device, &get("/api/reference".to_owned())).await?;
            reference(accepted(told, "application/json")?.bytes)
        }
        Request::Method(method) => {
            let path = format!("/api/methods/{}/{}", method.id, method.version);
            Ok(Answer::Method(accepted(ask(device, &get(path)).await?, MEDIA_TYPE)?.bytes))
        }
        Request::Photo(key, step) => photo(device, key, step).await,
    }
}

async fn photo(device: &mut Device, key: &PhotoKey, step: &PhotoStep) -> Result<Answer, Failure> {
    let version = ("tus-resumable", "1.0.0".to_owned());
    match step {
        PhotoStep::Create { bytes } => {
            let b64 = |text: String| base64::engine::general_purpose::STANDARD.encode(text);
            let metadata = format!("sha256 {},job {}", b64(key.hash.hex()), b64(key.job.to_string()));
            let headers = vec![version, ("upload-length", bytes.to_string()), ("upload-metadata", metadata)];
            let asked = Ask { verb: Verb::POST, path: "/api/photos".to_owned(), headers, body: Vec::new() };
            let told = ask(device, &asked).await?;
            Ok(match (told.header("witnessmark-have"), told.status, told.header("location")) {
                ("1", _, _) => Answer::Photo(PhotoAnswer::Have),
                (_, 201, upload) if !upload.is_empty() => {
                    Answer::Photo(PhotoAnswer::Created { upload: upload.to_owned() })
                }
                (_, 200..=299, _) => Answer::Failed(Failure::Unreadable),
                _ => Answer::Failed(refusal(&told)),
            })
        }
        PhotoStep::Ask { upload } => {
            let asked = Ask { verb: Verb::HEAD, path: upload.clone(), headers: vec![version], body: Vec::new() };
            let told = ask(device, &asked).await?;
            Ok(at(&told, key.hash, 0))
        }
        PhotoStep::Send { upload, from, to } => {
            let place = |at: &u64| usize::try_from(*at).expect("it is in memory");
            let Some(bytes) = device.shelf.photo_bytes.get(&key.hash) else {
                return Ok(Answer::Photo(PhotoAnswer::BytesLost));
            };
            let headers = vec![
                version,
                ("upload-offset", from.to_string()),
                ("content-type", "application/offset+octet-stream".to_owned()),
            ];
            let body = bytes[place(from)..place(to)].to_vec();
            let began_ms = device.clock.now_ms();
            let told = ask(device, &Ask { verb: Verb::PATCH, path: upload.clone(), headers, body }).await?;
            Ok(at(&told, key.hash, (device.clock.now_ms() - began_ms).max(1)))
        }
    }
}

/// How far an upload is.
fn at(told: &client::Answer, hash: Hash32, elapsed_ms: u64) -> Answer {
    if !(200..=299).contains(&told.status) {
        return Answer::Failed(refusal(told));
    }
    match (told.header("witnessmark-stored"), told.header("upload-offset").parse()) {
        ("", Ok(offset)) => Answer::Photo(PhotoAnswer::At { offset, elapsed_ms }),
        ("", Err(_)) => Answer::Failed(Failure::Unreadable),
        (stored, _) if Hash32::from_hex(stored) == Some(hash) => Answer::Photo(PhotoAnswer::Have),
        _ => Answer::Failed(Failure::Status { status: 460, retry_after_ms: None }),
    }
}

fn reference(bytes: Vec<u8>) -> Result<Answer, Failure> {
    let json: Value = serde_json::from_slice(&bytes).map_err(|_| Failure::Unreadable)?;
    let version = json["version"].as_u64().ok_or(Failure::Unreadable)?;
    let method = |line: &Value| {
        Some(MethodRef {
            id: line["id"].as_str()?.to_owned(),
            version: line["version"].as_u64()?.try_into().ok()?,
            hash: Hash32::from_hex(line["hash"].as_str()?)?,
        })
    };
    let methods: Option<Vec<MethodRef>> = json["methods"].as_array().and_then(|all| all.iter().map(method).collect());
    Ok(Answer::Reference { version, bytes, methods: methods.ok_or(Failure::Unreadable)? })
}

fn get(path: String) -> Ask {
    Ask { verb: Verb::GET, path, headers: Vec::new(), body: Vec::new() }
}

async fn cbor(device: &mut Device, path: &str, body: Vec<u8>) -> Result<Vec<u8>, Failure> {
    let mut headers = vec![("content-type", MEDIA_TYPE.to_owned()), ("accept", MEDIA_TYPE.to_owned())];
    let is_packed = device.takes_packed && body.len() >= PACK_FROM_BYTES;
    if is_packed {
        headers.push(("content-encoding", "gzip".to_owned()));
    }
    let body = if is_packed { gzip(&body) } else { body };
    let told =
        accepted(ask(device, &Ask { verb: Verb::POST, path: path.to_owned(), headers, body }).await?, MEDIA_TYPE)?;
    device.takes_packed = told.header("accept-encoding") == "gzip";
    Ok(told.bytes)
}

/// Packs as browsers do.
pub fn gzip(bytes: &[u8]) -> Vec<u8> {
    let mut packer = GzEncoder::new(Vec::new(), Compression::default());
    packer.write_all(bytes).expect("a Vec takes everything");
    packer.finish().expect("a Vec takes everything")
}

fn accepted(told: client::Answer, media_type: &str) -> Result<client::Answer, Failure> {
    match told.status {
        200..=299 if told.header("content-type").starts_with(media_type) => Ok(told),
        200..=299 => Err(Failure::Unreadable),
        _ => Err(refusal(&told)),
    }
}

fn refusal(told: &client::Answer) -> Failure {
    let seconds: Option<u64> = told.header("retry-after").trim().parse().ok();
    Failure::Status { status: told.status, retry_after_ms: seconds.map(|seconds| seconds * 1_000) }
}

/// With the token, renewed once where the server does not take it any more.
async fn ask(device: &mut Device, asked: &Ask) -> Result<client::Answer, Failure> {
    if device.client.token.is_none() {
        renew(device).await?;
    }
    let told = send(device, asked).await?;
    if told.status != 401 {
        return Ok(told);
    }
    renew(device).await?;
    send(device, asked).await
}

async fn renew(device: &mut Device) -> Result<(), Failure> {
    let told = tokio::time::timeout(device.patience, device.client.try_refresh()).await;
    let told = told.map_err(|_| Failure::NoConnection)?.map_err(|_| Failure::NoConnection)?;
    match told.status {
        200 => Ok(()),
        401 => Err(Failure::Status { status: 401, retry_after_ms: None }),
        _ if told.header(PROTOCOL_HEADER) == PROTOCOL_VALUE => Err(Failure::NoConnection),
        _ => Err(Failure::NotOurServer),
    }
}

async fn send(device: &Device, asked: &Ask) -> Result<client::Answer, Failure> {
    let mut request = device.client.request(asked.verb.clone(), &asked.path).header("x-witnessmark", "1");
    request = request.header("accept-encoding", ENCODINGS);
    for (name, value) in &asked.headers {
        request = request.header(*name, value);
    }
    if !asked.body.is_empty() {
        request = request.body(asked.body.clone());
    }
    let for_body = Duration::from_millis(asked.body.len() as u64 * 1_000 / SLOWEST_BYTES_PER_S);
    let silence = device.patience;
    let head = tokio::time::timeout(silence + device.clock.on_the_wall(for_body), request.send());
    let told = read(head.await.map_err(|_| Failure::NoConnection)?, silence).await?;
    if told.header(PROTOCOL_HEADER) != PROTOCOL_VALUE {
        return Err(match told.status {
            413 | 429 | 502..=504 => refusal(&told),
            _ => Failure::NotOurServer,
        });
    }
    decoded(told)
}

/// All of an answer, for as long as something comes.
async fn read(response: reqwest::Result<reqwest::Response>, silence: Duration) -> Result<client::Answer, Failure> {
    let mut response = response.map_err(|_| Failure::NoConnection)?;
    let (status, headers) = (response.status().as_u16(), response.headers().clone());
    let mut bytes = Vec::new();
    loop {
        let piece = tokio::time::timeout(silence, response.chunk()).await.map_err(|_| Failure::NoConnection)?;
        match piece.map_err(|_| Failure::NoConnection)? {
            Some(piece) => bytes.extend_from_slice(&piece),
            None => return Ok(client::Answer { status, headers, body: Value::Null, bytes }),
        }
    }
}

/// As a browser unpacks what the server packed.
fn decoded(mut told: client::Answer) -> Result<client::Answer, Failure> {
    // An answer to HEAD says how its body would be packed and has none.
    let packed = std::mem::take(&mut told.bytes);
    let mut plain = Vec::new();
    let unpacked = match told.header("content-encoding") {
        "br" if !packed.is_empty() => brotli::Decompressor::new(packed.as_slice(), BUFFER).read_to_end(&mut plain),
        "gzip" if !packed.is_empty() => MultiGzDecoder::new(packed.as_slice()).read_to_end(&mut plain),
        _ => {
            told.bytes = packed;
            return Ok(told);
        }
    };
    unpacked.map_err(|_| Failure::Unreadable)?;
    told.bytes = plain;
    Ok(told)
}
