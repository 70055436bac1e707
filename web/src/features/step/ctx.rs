//! What each part of the page works with.

use domain::ids::{EntryId, JobId};
use domain::job_file::body::Place;
use leptos::prelude::*;
use serde::Serialize;
use serde::de::DeserializeOwned;

use crate::adapters::browser;
use crate::device::{Device, JobLoad, Saving};
use crate::features::crew::bottom::MainAct;
use crate::features::crew::typed::{Kept, keep_typed};
use crate::features::job::load::{JobView, RequirementCard};
use crate::i18n::Words;
use crate::store::NewEntry;
use crate::t;
use crate::ui::Button;

/// One requirement at work.
#[derive(Clone, Copy)]
pub struct Ctx {
    /// Words.
    pub w: Words,
    /// Device.
    pub device: Device,
    /// Job.
    pub job: JobId,
    /// The job as it is followed.
    pub load: RwSignal<JobLoad>,
    /// The main action of the page.
    pub act: MainAct,
    /// How the last write went.
    pub saving: RwSignal<Saving>,
    /// Which requirement somebody opened by hand.
    pub chosen: RwSignal<Option<usize>>,
    /// The entry that the next one replaces.
    pub correcting: RwSignal<Option<EntryId>>,
    /// Where.
    pub place: StoredValue<Place>,
    /// The requirement as it stands.
    pub card: Memo<Option<RequirementCard>>,
    /// The next entry's id: from the opening of the screen, renewed after each write.
    id: StoredValue<Option<EntryId>>,
}

impl Ctx {
    /// For one requirement of a page.
    #[allow(clippy::too_many_arguments, reason = "each is one signal of the page, put together in one place")]
    pub fn new(
        w: Words,
        device: Device,
        job: JobId,
        load: RwSignal<JobLoad>,
        act: MainAct,
        saving: RwSignal<Saving>,
        chosen: RwSignal<Option<usize>>,
        place: Place,
        card: Memo<Option<RequirementCard>>,
    ) -> Self {
        let id = StoredValue::new(device.new_entry_id());
        let (correcting, place) = (RwSignal::new(None), StoredValue::new(place));
        Self { w, device, job, load, act, saving, chosen, correcting, place, card, id }
    }

    /// The place.
    pub fn place(self) -> Place {
        self.place.get_value()
    }

    /// The next entry's id; the same until it was written.
    pub fn id(self) -> Option<EntryId> {
        if self.id.get_value().is_none() {
            self.id.set_value(self.device.new_entry_id());
        }
        self.id.get_value()
    }

    /// Reads the job as it stands. Not tracked.
    pub fn now<T>(self, read: impl FnOnce(&JobView) -> T) -> Option<T> {
        self.load.with_untracked(|load| load.view().map(read))
    }

    /// Reads the job as it stands. Tracked.
    pub fn job<T>(self, read: impl FnOnce(&JobView) -> T) -> Option<T> {
        self.load.with(|load| load.view().map(read))
    }

    /// What follows a write: the next entry has another id, and nothing is opened by hand any more.
    pub fn written(self) {
        self.id.set_value(self.device.new_entry_id());
        let _ = self.correcting.try_set(None);
        let _ = self.chosen.try_set(None);
    }

    /// What is recorded here, in the method's words and without their full stop: a sentence goes on behind them.
    pub fn what(self) -> String {
        let label = self.card.try_get_untracked().flatten().map_or_else(String::new, |card| card.label);
        label.trim_end_matches('.').to_owned()
    }

    /// Writes entries; `then` runs once they are on the disk.
    pub fn write(self, entries: Vec<NewEntry>, then: impl FnOnce() + 'static) {
        self.device.save(self.job, entries, self.saving, self.what(), move || {
            self.written();
            then();
        });
    }

    /// The id of its card on the page.
    pub fn card_id(self) -> String {
        self.place.with_value(|place| format!("need-{}", place.requirement))
    }

    /// A statement is signed where it is read: its button stands under it, and the bar only leads there.
    pub fn sign_here(
        self,
        label: &'static str,
        disabled: impl Fn() -> bool + Send + Sync + 'static,
        press: impl Fn() + 'static,
    ) -> AnyView {
        let id = format!("{}-sign", self.card_id());
        let target = id.clone();
        self.act.press(t!(self.w, "step.to_statement"), || false, move || browser::lead_to(&target));
        let busy = Signal::derive(move || self.saving.get() == Saving::Busy);
        let press = UnsyncCallback::new(move |()| press());
        view! {
            <div class="sign-here" id=id tabindex="-1">
                <Button label disabled=Signal::derive(disabled) busy on_press=press />
            </div>
        }
        .into_any()
    }

    /// Under which key the draft of this requirement lies.
    pub fn draft_key(self, kind: &str) -> String {
        self.place
            .with_value(|place| format!("{kind}/{}/{}/{}/{}", self.job, place.step, place.slot, place.requirement))
    }

    /// Keeps what is typed, with every change, and brings back what was typed before the page ended.
    pub fn keep_typed<T>(self, kind: &str, now: Memo<T>, bring_back: impl Fn(T) + 'static) -> Kept
    where
        T: Clone + Default + PartialEq + Serialize + DeserializeOwned + Send + Sync + 'static,
    {
        keep_typed(self.device, self.draft_key(kind), now, bring_back)
    }
}
