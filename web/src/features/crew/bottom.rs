//! The bottom bar of the crew's screens: one main action, "Stop work" beside it, how the last write went above both.

use leptos::prelude::*;
use leptos::text_prop::TextProp;

use super::photo::{Chooser, PhotoAct};
use super::saving::{SavingLine, let_go_when};
use super::stop_work::StopButton;
use crate::device::Saving;
use crate::ui::{Button, LinkButton, Look};

/// What the main action does.
#[derive(Clone)]
pub enum Act {
    /// A press.
    Press {
        /// The word on it.
        label: TextProp,
        /// What happens.
        press: UnsyncCallback<()>,
        /// Cannot be pressed now.
        disabled: Signal<bool>,
    },
    /// Opens the camera.
    Photo(PhotoAct),
    /// Goes somewhere.
    Go {
        /// The word on it.
        label: String,
        /// Where.
        href: String,
    },
}

/// The main action of the page; whichever part is at work puts its own here.
#[derive(Clone, Copy)]
pub struct MainAct {
    act: RwSignal<Option<Act>>,
    /// What it is about, in the method's words.
    about: RwSignal<Option<String>>,
    /// Whose action it is: a part that leaves must not take away what its successor has put there already.
    turn: StoredValue<u32>,
}

impl Default for MainAct {
    fn default() -> Self {
        Self { act: RwSignal::new(None), about: RwSignal::new(None), turn: StoredValue::new(0) }
    }
}

impl MainAct {
    /// Puts an action there until the part of the page that did so is gone.
    pub fn put(self, act: Act) {
        let mine = self.turn.get_value() + 1;
        self.turn.set_value(mine);
        self.act.set(Some(act));
        on_cleanup(move || {
            if self.turn.try_get_value() == Some(mine) {
                let _ = self.act.try_set(None);
            }
        });
    }

    /// Says on the action what it is about, until another part says otherwise.
    pub fn about(self, what: Option<String>) {
        self.about.set(what);
    }

    /// A press as the action.
    pub fn press(
        self,
        label: impl Into<TextProp>,
        disabled: impl Fn() -> bool + Send + Sync + 'static,
        press: impl Fn() + 'static,
    ) {
        let press = UnsyncCallback::new(move |()| press());
        self.put(Act::Press { label: label.into(), press, disabled: Signal::derive(disabled) });
    }
}

/// Draws the bar. `otherwise` stands there while no part of the page has an action of its own.
#[component]
pub fn CrewBottom(
    /// The main action.
    act: MainAct,
    /// How the last write went; a write under way keeps the action from being pressed.
    saving: RwSignal<Saving>,
    /// What stands there otherwise.
    #[prop(into)]
    otherwise: Signal<Option<Act>>,
    /// Stops work.
    stop: StopButton,
) -> impl IntoView {
    let busy = Signal::derive(move || saving.get() == Saving::Busy);
    let_go_when(stop.is_open(), saving);
    let about = Signal::derive(move || act.about.get().filter(|_| act.act.with(Option::is_some)));
    let main = move || {
        act.act.get().or_else(|| otherwise.get()).map(|act| match act {
            Act::Press { label, press, disabled } => {
                view! { <Button label about look=Look::Main disabled busy on_press=press /> }.into_any()
            }
            Act::Photo(act) => view! { <Chooser act about busy main=true /> }.into_any(),
            Act::Go { label, href } => view! { <LinkButton label href look=Look::Main /> }.into_any(),
        })
    };
    let rests = rests_after_each_change(act, otherwise);
    view! {
        <SavingLine saving />
        <div class="act-row" class:rests=move || rests.get()>
            {stop.draw()}
            {main}
        </div>
    }
    .into_any()
}

/// So long the main action takes no press after it has changed, milliseconds: a second press of a hasty thumb was meant for what stood
/// there before.
const REST_MS: u64 = 400;

/// Whether the main action has just changed. "Stop work" never rests.
fn rests_after_each_change(act: MainAct, otherwise: Signal<Option<Act>>) -> RwSignal<bool> {
    let rests = RwSignal::new(false);
    let turn = StoredValue::new(0_u32);
    Effect::new(move |before: Option<Option<String>>| {
        let words = act.act.get().or_else(|| otherwise.get()).map(|act| match act {
            Act::Press { label, .. } => label.get().into_owned(),
            Act::Photo(act) => act.label.get(),
            Act::Go { label, .. } => label,
        });
        let now = words.map(|words| format!("{words}\n{}", act.about.get().unwrap_or_default()));
        if before.as_ref() != Some(&now) {
            let mine = turn.get_value() + 1;
            turn.set_value(mine);
            rests.set(true);
            let wake = move || {
                if turn.try_get_value() == Some(mine) {
                    let _ = rests.try_set(false);
                }
            };
            set_timeout(wake, core::time::Duration::from_millis(REST_MS));
        }
        now
    });
    rests
}
