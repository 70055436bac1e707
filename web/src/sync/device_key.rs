//! Tells the server the key that this enrolment signs with: once, and only while nothing waits that was recorded without it.

use crate::adapters::fetch::{Api, Call};
use crate::refusal::Refusal;
use crate::session::Session;
use crate::store::JobStore;

const CONFLICT: u16 = 409;

/// Tells it, unless it was told before; whatever does not work out is tried again at the next start.
pub(super) async fn tell(session: Session, api: Api, store: &JobStore) {
    let device = store.who().device;
    let mark = format!("key/{device}");
    // A store that cannot be read now is asked again.
    if !matches!(store.remembered(&mark).await, Ok(None)) {
        return;
    }
    let Some(key) = store.public_key().await else { return };
    let hex: String = key.iter().map(|byte| format!("{byte:02x}")).collect();
    let body = serde_json::json!({ "key": hex });
    let told = match api.send(Call::new("PUT", format!("/api/devices/{device}/key")).json(&body)).await {
        Ok(_) => b"told".to_vec(),
        // The server knows another one: this browser lost what it had. The next sign-in makes a new enrolment, with this key.
        Err(Refusal::Problem { status: CONFLICT, .. }) => {
            session.forget_enrolment(device).await;
            b"refused".to_vec()
        }
        Err(_) => return,
    };
    // Not noted, it is told once more, which changes nothing.
    let _ = store.remember(&mark, told).await;
}
