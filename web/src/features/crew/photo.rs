//! Taking a photo: the chooser, and what is remembered while a camera is open. A phone may end the page behind its camera; so the
//! place that the photo is for is written down first, and a page that begins anew leads back to it.

use domain::ids::JobId;
use domain::job_file::body::Place;
use leptos::ev;
use leptos::prelude::*;
use leptos::task::spawn_local;
use serde::{Deserialize, Serialize};

use crate::adapters::camera::{self, ChosenFile};
use crate::app::SyncStatus;
use crate::device::Device;
use crate::i18n::use_words;
use crate::t;
use crate::ui::{Glyph, Icon, about_line};

/// Draft in which the open camera stands.
const OPEN_CAMERA: &str = "camera";
/// A camera that was opened longer ago than this is forgotten: nobody wants to be led back to it.
const FORGET_AFTER_MS: u64 = 2 * 60 * 60 * 1_000;

/// A camera that was open when the page ended.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct OpenCamera {
    /// For which job.
    pub job: JobId,
    /// Step.
    pub step: String,
    /// Slot, or 0.
    pub slot: u16,
    /// Requirement.
    pub requirement: String,
    /// When it was opened, device clock.
    pub opened_ms: u64,
}

impl OpenCamera {
    /// For a photo of a place.
    pub fn at(job: JobId, place: &Place, opened_ms: u64) -> Self {
        Self { job, step: place.step.clone(), slot: place.slot, requirement: place.requirement.clone(), opened_ms }
    }

    /// It was opened for this step.
    pub fn is_for(&self, job: JobId, step: &str, slot: u16) -> bool {
        self.job == job && self.step == step && self.slot == slot
    }

    /// The words by which a staged photo knows its place again.
    pub fn place_words(place: &Place) -> String {
        format!("{}/{}/{}", place.step, place.slot, place.requirement)
    }
}

/// The camera that was open when the page ended, unless that is long ago.
pub async fn open_camera(device: Device, now_ms: u64) -> Option<OpenCamera> {
    let text = device.draft(OPEN_CAMERA).await?;
    let open: OpenCamera = serde_json::from_str(&text).ok()?;
    (now_ms.saturating_sub(open.opened_ms) <= FORGET_AFTER_MS).then_some(open)
}

/// The camera is closed, or nobody wants its photo any more.
pub fn close_camera(device: Device) {
    device.keep_draft(OPEN_CAMERA.to_owned(), String::new());
}

/// A photo as an action.
#[derive(Clone, Copy)]
pub struct PhotoAct {
    /// Its words.
    pub label: Signal<String>,
    /// Which place the photo is for: written down before the camera opens.
    pub remember: StoredValue<OpenCamera>,
    /// Device.
    pub device: Device,
    /// Takes the file and when the chooser was opened.
    pub chosen: UnsyncCallback<(ChosenFile, u64)>,
}

/// A button that opens the camera, or the gallery.
#[component]
pub fn Chooser(
    /// What it is for.
    act: PhotoAct,
    /// A photo is being saved.
    #[prop(into)]
    busy: Signal<bool>,
    /// What it shall show: a second line on it.
    #[prop(into, optional)]
    about: Signal<Option<String>>,
    /// The main action of the page.
    #[prop(optional)]
    main: bool,
    /// Another word and no camera: a picture that is there already.
    #[prop(optional)]
    gallery: bool,
) -> impl IntoView {
    let w = use_words();
    let node = NodeRef::<leptos::html::Input>::new();
    let status = use_context::<SyncStatus>();
    let ready = RwSignal::new(false);
    let opened_ms = RwSignal::new(0_u64);
    let now_ms = move || act.device.store_now().map_or(0, |store| store.clock().now_ms());
    let set_busy = move |open: bool| {
        if let Some(status) = status {
            status.busy.set(open);
        }
    };
    on_cleanup(move || set_busy(false));
    // The first press writes the draft and presses again once that is on the disk.
    let press = move |event: ev::MouseEvent| {
        if busy.get_untracked() {
            event.prevent_default();
            return;
        }
        if ready.get_untracked() {
            ready.set(false);
            return;
        }
        event.prevent_default();
        let at = now_ms();
        opened_ms.set(at);
        set_busy(true);
        let note = OpenCamera { opened_ms: at, ..act.remember.get_value() };
        spawn_local(async move {
            if let Some(store) = act.device.store_now() {
                // A draft that cannot be kept must not keep anybody from taking the photo.
                let _ = store.put_draft(OPEN_CAMERA, serde_json::to_vec(&note).unwrap_or_default()).await;
            }
            ready.set(true);
            if let Some(input) = node.get_untracked() {
                input.click();
            }
        });
    };
    let change = move |event: ev::Event| {
        set_busy(false);
        let opened = opened_ms.get_untracked();
        // Without a press (a test, a keyboard's own way) the chooser was opened now at the latest.
        let opened = if opened == 0 { now_ms() } else { opened };
        for file in camera::files_of(&event) {
            act.chosen.run((file, opened));
        }
    };
    let given_up = move |_: ev::Event| {
        set_busy(false);
        close_camera(act.device);
    };
    let class = match (main, gallery) {
        (true, _) => "act main chooser",
        (false, true) => "act quiet chooser",
        (false, false) => "act chooser",
    };
    let words = move || if gallery { t!(w, "step.photo.gallery").to_owned() } else { act.label.get() };
    let place = act.remember.with_value(|place| place.requirement.clone());
    view! {
        <label class=class class:busy=move || busy.get() aria-disabled=move || busy.get().then_some("true")>
            <Glyph icon=if gallery { Icon::Document } else { Icon::Camera } />
            <span>{words}{about_line(about)}</span>
            <input
                type="file"
                class="unseen"
                accept="image/*"
                capture=(!gallery).then_some("environment")
                data-photo=place
                data-gallery=gallery.then_some("yes")
                disabled=move || busy.get()
                node_ref=node
                on:click=press
                on:change=change
                on:cancel=given_up
            />
        </label>
    }
    .into_any()
}
