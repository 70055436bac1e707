//! Something that is being fetched: waiting, here, or refused with a way to try again.

use std::future::Future;

use leptos::prelude::*;
use leptos::task::spawn_local;

use crate::i18n::use_words;
use crate::refusal::Refusal;
use crate::t;
use crate::ui::{Banner, Button, Tone, Waiting};

/// Where it stands.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub enum Load<T> {
    /// Under way.
    #[default]
    Waiting,
    /// Here.
    Here(T),
    /// Not to be had.
    Refused(Refusal),
}

/// Fetches into a signal; what was there stays in sight until the answer comes.
pub fn load<T: Send + Sync + 'static>(
    into: RwSignal<Load<T>>,
    work: impl Future<Output = Result<T, Refusal>> + 'static,
) {
    spawn_local(async move {
        let outcome = match work.await {
            Ok(value) => Load::Here(value),
            Err(refusal) => Load::Refused(refusal),
        };
        // The page may be gone by now; then nobody waits for it.
        let _ = into.try_set(outcome);
    });
}

/// Draws a [`Load`]: the skeleton, the thing, or why it is not there and a button that fetches again.
pub fn shown<T: Clone + Send + Sync + 'static>(
    of: RwSignal<Load<T>>,
    again: impl Fn() + Clone + Send + 'static,
    draw: impl Fn(T) -> AnyView + Send + 'static,
) -> impl IntoView {
    let w = use_words();
    move || match of.get() {
        Load::Waiting => view! { <Waiting /> }.into_any(),
        Load::Here(value) => draw(value),
        Load::Refused(refusal) => {
            let again = again.clone();
            view! {
                <Banner tone=Tone::Stop>
                    <p>{refusal.tell(w)}</p>
                    <Button label=t!(w, "ui.retry") on_press=move || { of.set(Load::Waiting); again(); } />
                </Banner>
            }
            .into_any()
        }
    }
}
