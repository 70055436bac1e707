//! The service: HTTP over Postgres and a photo store. Rules are `domain`'s; here stands how they are asked.
//!
//! Start with [`routes`] (every URL), then [`db`] (the only way to a query) and [`features`].
//! [`build`] gives a whole server in process, which is what the tests use.

pub mod auth;
pub mod clock;
pub mod config;
pub mod db;
pub mod demo;
pub mod error;
pub mod features;
pub mod firms;
pub mod handover;
pub mod http;
pub mod job_files;
pub mod methods;
pub mod paper;
pub mod photos;
pub mod routes;
pub mod rule_sets;
pub mod state;
pub mod tasks;

use std::future::Future;
use std::net::SocketAddr;
use std::sync::Arc;
use std::time::Duration;

use axum::Router;
use tokio::net::TcpListener;

use crate::auth::password::Passwords;
use crate::auth::tokens::Tokens;
use crate::clock::Clock;
use crate::config::Config;
use crate::features::live;
use crate::features::photos::Transfers;
use crate::job_files::turns::Turns;
use crate::methods::Methods;
use crate::photos::probe;
use crate::state::AppState;

/// How long running requests may take once the server is asked to stop.
const STOP_WITHIN: Duration = Duration::from_secs(20);

/// A server that is ready to listen.
pub struct App {
    /// Every URL.
    pub router: Router,
    /// What handlers reach; tests use it to move the clock.
    pub state: AppState,
    /// What whoever started it must be told.
    pub welcome: Welcome,
}

/// What is printed at the start and nowhere else.
#[derive(Debug)]
pub enum Welcome {
    /// Nothing special.
    Usual,
    /// Nobody owns anything yet: `firms::first_owner_link` gives the link for it.
    NobodyOwns,
    /// Try these.
    Demo(demo::SignIns),
}

/// Tries the photo store out, migrates, checks, publishes methods, seeds the demo: everything before listening.
///
/// # Errors
/// A sentence for whoever starts the server.
pub async fn build(config: Config) -> anyhow::Result<App> {
    build_with(config, Clock::system()).await
}

/// The same with a clock that the caller may move.
///
/// # Errors
/// A sentence for whoever starts the server.
pub async fn build_with(config: Config, clock: Clock) -> anyhow::Result<App> {
    let objects = state::open_objects(&config.photo_store)?;
    build_over(config, clock, objects).await
}

/// The same over a photo store that the caller has opened.
///
/// # Errors
/// A sentence for whoever starts the server.
pub async fn build_over(config: Config, clock: Clock, objects: state::Objects) -> anyhow::Result<App> {
    probe::try_out(&objects, clock.new_id()).await?;
    let db = db::setup::open(&config).await?;
    let state = AppState {
        methods: Methods::publish_built_in(&db, &clock).await?,
        objects,
        tokens: Tokens::new(&config.token_secret),
        passwords: Passwords::new()?,
        limits: Arc::default(),
        live: Arc::default(),
        turns: Turns::default(),
        transfers: Transfers::default(),
        sealing: config.seal_key.clone(),
        config: Arc::new(config),
        clock,
        db,
    };
    let welcome = welcome(&state).await?;
    Ok(App { router: routes::router(state.clone()), state, welcome })
}

async fn welcome(state: &AppState) -> anyhow::Result<Welcome> {
    if state.config.demo {
        if !state.db.owner_exists().await? {
            demo::seed(state).await?;
        }
        return Ok(match demo::sign_ins(state).await? {
            Some(sign_ins) => Welcome::Demo(sign_ins),
            None => Welcome::Usual,
        });
    }
    if state.db.owner_exists().await? {
        return Ok(Welcome::Usual);
    }
    Ok(Welcome::NobodyOwns)
}

/// Serves until `stop` is ready, then lets running requests end.
///
/// # Errors
/// The listener broke.
pub async fn serve(
    listener: TcpListener,
    app: App,
    stop: impl Future<Output = ()> + Send + 'static,
) -> anyhow::Result<()> {
    let (tasks, listening) = (tasks::spawn(app.state.clone()), live::spawn(app.state.clone()));
    let live = Arc::clone(&app.state.live);
    let (asked, was_asked) = tokio::sync::oneshot::channel();
    let service = app.router.into_make_service_with_connect_info::<SocketAddr>();
    let serving = axum::serve(listener, service).with_graceful_shutdown(async move {
        stop.await;
        live.end();
        let _ = asked.send(());
    });
    let too_long = async {
        // The sender is dropped without a word only when serving ended by itself.
        if was_asked.await.is_ok() {
            tokio::time::sleep(STOP_WITHIN).await;
        } else {
            std::future::pending::<()>().await;
        }
    };
    let served = tokio::select! {
        served = serving => served.map_err(anyhow::Error::from),
        () = too_long => {
            tracing::warn!("some requests did not end in time and were cut off");
            Ok(())
        }
    };
    tasks.abort();
    listening.abort();
    app.state.db.close().await;
    served
}
