//! Every URL of the service on one page. What an address takes and gives stands in `docs/api.md`.

use axum::Router;
use axum::extract::DefaultBodyLimit;
use axum::middleware::{from_fn, from_fn_with_state};
use axum::routing::{delete, get, patch, post, put};
use tower_http::catch_panic::CatchPanicLayer;
use tower_http::compression::CompressionLayer;

use crate::clock::Clock;

use crate::error::ApiError;
use crate::features::{
    desks, devices, health, links, live, people, photos, reference, report, rule_sets, seals, session, sync, voice,
};
use crate::http::{JSON_BYTES_MAX, files, headers, sane_address, time_limit, trace};
use crate::state::AppState;

/// The whole service.
pub fn router(state: AppState) -> Router {
    // Brotli packs a little better and takes far more memory for each answer under way, which the phones of one firm multiply: it
    // is for files, which a browser fetches once.
    let api = api().layer(CompressionLayer::new().no_br());
    let all = Router::new()
        .nest("/api", api)
        .route("/livez", get(health::get_live))
        .route("/readyz", get(health::get_ready))
        .route("/.well-known/witnessmark-seal-key", get(seals::get_seal_key))
        .fallback(files::serve_file);
    watched(all, state.clock.clone())
        .layer(CompressionLayer::new())
        .layer(from_fn_with_state(state.clone(), headers::security))
        .with_state(state)
}

/// A panic is an answer, and every request leaves its line in the log.
fn watched<S: Clone + Send + Sync + 'static>(all: Router<S>, clock: Clock) -> Router<S> {
    all.layer(CatchPanicLayer::custom(trace::panicked)).layer(from_fn_with_state(clock, trace::requests))
}

fn api() -> Router<AppState> {
    Router::new()
        .route("/health", get(health::get_health))
        // --- session and people
        .route("/session", post(session::sign_in).delete(session::sign_out))
        .route("/session/refresh", post(session::refresh_session))
        .route("/setup", get(links::get_setup))
        .route("/links/{token}", get(links::get_link).post(links::follow_link))
        .route("/people", get(people::list_people).post(people::invite_person))
        .route("/people/{id}", patch(people::change_person))
        .route("/people/{id}/reset", post(people::reset_person))
        .route("/people/{id}/pin", put(people::set_pin))
        .route("/firm", patch(people::patch_firm))
        .route("/devices", get(devices::list_devices))
        .route("/devices/{id}", delete(devices::revoke_device))
        .route("/devices/{id}/key", put(devices::set_key))
        // --- reference data
        .route("/reference", get(reference::get_reference))
        .route("/methods/{id}/{version}", get(reference::get_method))
        .route("/instruments", get(reference::list_instruments).post(reference::add_instrument))
        .route("/instruments/{id}", patch(reference::change_instrument))
        .route("/models", get(reference::list_models).post(reference::add_model))
        .route("/models/{id}", patch(reference::change_model))
        .route("/rule-sets", get(rule_sets::list_rule_sets))
        .route("/rule-sets/{place}", post(rule_sets::add_rule_set_version))
        // --- sync; reads its bodies itself, within limits of its own
        .route("/sync/push", post(sync::push_entries))
        .route("/sync/pull", post(sync::pull_entries))
        .route("/live", get(live::follow_news))
        // --- photos; an upload streams and counts its bytes itself
        .route("/photos", post(photos::create_upload).options(photos::describe_uploads))
        .route(
            "/photos/uploads/{id}",
            patch(photos::go_on_with_upload).head(photos::head_upload).delete(photos::drop_upload),
        )
        .route("/jobs/{job}/photos", get(photos::list_photos))
        .route("/jobs/{job}/photos/{sha256}", get(photos::get_photo))
        .route("/jobs/{job}/photos/{sha256}/upright", get(photos::get_upright))
        // --- desks
        .route("/jobs", get(desks::list_jobs))
        .route("/jobs/{job}", get(desks::get_job))
        .route("/jobs/{job}/voice-answers", post(voice::show_answer))
        .route("/jobs/{job}/registration.json", get(desks::get_registration_json))
        .route("/jobs/{job}/registration.csv", get(desks::get_registration_csv))
        .route("/registration", get(desks::list_registrations))
        .route("/units", get(desks::list_units))
        .route("/held", get(desks::list_held))
        // --- seals
        .route("/jobs/{job}/seal", post(seals::seal_job))
        .route("/jobs/{job}/seals", get(seals::list_seals))
        .route("/jobs/{job}/seals/{number}/pack", get(seals::get_pack))
        // --- paper
        .route("/jobs/{job}/report.pdf", get(report::get_report))
        .route("/methods/{id}/{version}/sheet.pdf", get(report::get_sheet))
        .fallback(async || ApiError::NotFound)
        .method_not_allowed_fallback(async || ApiError::MethodNotAllowed)
        .layer(DefaultBodyLimit::max(JSON_BYTES_MAX))
        .layer(from_fn(time_limit))
        .layer(from_fn(sane_address))
        // Here too, so that the answer is marked as ours like any other of the API.
        .layer(CatchPanicLayer::custom(trace::panicked))
        .layer(from_fn(headers::protocol))
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "a test may stop where it stands")]
mod tests {
    use axum::body::{Body, to_bytes};
    use axum::http::{Request, header};
    use tower::ServiceExt as _;

    use super::*;

    #[tokio::test]
    async fn a_panic_answers_as_a_problem_with_the_id_of_its_request() {
        async fn broken() -> &'static str {
            panic!("a secret of ours")
        }
        let router = watched(Router::new().route("/broken", get(broken)), Clock::system());
        let request = Request::get("/broken").header("x-request-id", "seen-by-the-front").body(Body::empty());
        let answer = router.oneshot(request.unwrap()).await.unwrap();
        assert_eq!(answer.status(), 500);
        assert_eq!(answer.headers()[header::CONTENT_TYPE], "application/problem+json");
        assert_eq!(answer.headers()["x-request-id"], "seen-by-the-front");
        let body: serde_json::Value =
            serde_json::from_slice(&to_bytes(answer.into_body(), 10_000).await.unwrap()).unwrap();
        assert_eq!((body["code"].as_str(), body["request"].as_str()), (Some("internal"), Some("seen-by-the-front")));
        assert!(!body.to_string().contains("secret"), "{body}");
    }
}
