//! A span that must pass: only the time in which this page was awake counts, kept each second, never early, sometimes late.

use domain::job_file::Body;
use domain::job_file::body::Waited;
use domain::method::gate::Answer;
use gloo_timers::callback::Interval;
use leptos::prelude::*;
use leptos::task::spawn_local;

use super::ctx::Ctx;
use super::view_model::waited;
use crate::adapters::wake_lock::WakeLock;
use crate::t;

const TICK_MS: u32 = 1_000;

/// Counts a wait down and records it when it is over.
#[component]
pub fn WaitPart(
    /// Where.
    ctx: Ctx,
) -> impl IntoView {
    let w = ctx.w;
    let want_ms = Memo::new(move |_| match ctx.card.get().map(|card| card.answer) {
        Some(Answer::Missing { want, .. }) => want,
        _ => 0,
    });
    let elapsed_ms = RwSignal::new(0_u64);
    let running = StoredValue::new_local(None::<(Interval, WakeLock)>);
    let runs = RwSignal::new(false);
    // A wait begins anew once its isolation is made anew, also while this page stands open and another phone tells of it.
    let key = Memo::new(move |_| {
        let place = ctx.place();
        let since = ctx.job(|job| job.step(&place.step, place.slot)?.since).flatten();
        ctx.draft_key(&since.map_or_else(|| "wait".to_owned(), |since| format!("wait@{since}")))
    });
    let written = StoredValue::new(false);

    let finish = move || {
        if written.get_value() {
            return;
        }
        let Some(id) = ctx.id() else { return };
        let body = Body::Waited(Waited { at: ctx.place(), elapsed_ms: elapsed_ms.get_untracked(), corrects: None });
        written.set_value(true);
        ctx.write(vec![(id, body).into()], move || ctx.device.keep_draft(key.get_untracked(), String::new()));
        // A write that fails is tried again by a press.
        running.set_value(None);
        runs.set(false);
    };
    let start = move || {
        written.set_value(false);
        let Some(store) = ctx.device.store_now() else { return };
        let clock = store.clock();
        let last = StoredValue::new(clock.monotonic_ms());
        let tick = move || {
            let now = clock.monotonic_ms();
            let passed = now.saturating_sub(last.get_value());
            last.set_value(now);
            elapsed_ms.update(|elapsed| *elapsed = waited(*elapsed, passed));
            ctx.device.keep_draft(key.get_untracked(), elapsed_ms.get_untracked().to_string());
            let want = want_ms.get_untracked();
            if want > 0 && elapsed_ms.get_untracked() >= want {
                finish();
            }
        };
        running.set_value(Some((Interval::new(TICK_MS, tick), WakeLock::ask())));
        runs.set(true);
    };
    Effect::new(move |before: Option<String>| {
        let now = key.get();
        if before.is_some_and(|before| before != now) {
            running.set_value(None);
            runs.set(false);
            elapsed_ms.set(0);
        }
        now
    });
    // What was waited before the page ended counts; the time in between does not.
    spawn_local(async move {
        let before: Option<u64> = ctx.device.draft(&key.get_untracked()).await.and_then(|text| text.parse().ok());
        if let Some(before) = before {
            let _ = elapsed_ms.try_update(|elapsed| *elapsed = before.max(*elapsed));
            if !running.with_value(Option::is_some) {
                start();
            }
        }
    });
    on_cleanup(move || running.set_value(None));
    let label = move || {
        let words = if elapsed_ms.get() == 0 { t!(w, "step.wait.start") } else { t!(w, "step.wait.go_on") };
        if runs.get() { t!(w, "step.wait.runs").to_owned() } else { words.to_owned() }
    };
    let press = move || {
        if elapsed_ms.get_untracked() >= want_ms.get_untracked() {
            written.set_value(false);
            finish();
        } else {
            start();
        }
    };
    ctx.act.press(label, move || runs.get() || want_ms.get() == 0, press);
    let left = move || want_ms.get().saturating_sub(elapsed_ms.get()).div_ceil(1_000);
    view! {
        <p class="countdown number" role="timer" data-left=left>{move || w.countdown(left())}</p>
        <p class="soft">{t!(w, "step.wait.keep_open")}</p>
        <p class="soft">{t!(w, "step.wait.why")}</p>
    }
    .into_any()
}
