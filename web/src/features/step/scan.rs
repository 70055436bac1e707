//! The camera as a scanner: what it reads is shown large and taken when a person says so. Where it reads nothing there are two other
//! ways, a photo of the label and the keys.

use std::time::Duration;

use leptos::ev;
use leptos::prelude::*;
use leptos::task::spawn_local;

use super::view_model::{SerialPreview, shown_code};
use crate::adapters::barcode::{self, NothingRead, Torch};
use crate::adapters::camera;
use crate::i18n::{Words, use_words};
use crate::t;
use crate::ui::{Banner, Button, Glyph, Icon, Look, Sheet, Tone, Waiting};

const VIDEO: &str = "scan-view";
/// The dialog draws its picture first.
const DRAWN_MS: u32 = 50;
/// So long without a code, and the other ways are offered.
const LATE: Duration = Duration::from_secs(5);

/// Where the scan stands.
#[derive(Clone, Debug, PartialEq, Eq)]
enum Stage {
    /// The camera is open, or just being opened.
    Live,
    /// A photo is being read.
    Photo,
    /// This was read, and nobody has said yet whether it is the one.
    Found(String),
    /// Nothing goes on; perhaps for a reason.
    Idle(Option<Trouble>),
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Trouble {
    Live(NothingRead),
    Photo(NothingRead),
}

impl Trouble {
    fn words(self, w: Words) -> &'static str {
        match self {
            Self::Live(NothingRead::NoCamera) => t!(w, "step.serial.no_camera"),
            Self::Live(NothingRead::NoCode) => t!(w, "step.serial.no_code"),
            Self::Photo(NothingRead::NoCode | NothingRead::NoCamera) => t!(w, "step.serial.no_code_in_photo"),
            Self::Live(NothingRead::NoReader) | Self::Photo(NothingRead::NoReader) => t!(w, "step.serial.no_reader"),
        }
    }
}

/// All of it, for the parts of the dialog.
#[derive(Clone, Copy)]
struct Scanning {
    w: Words,
    open: RwSignal<bool>,
    stage: RwSignal<Stage>,
    late: RwSignal<bool>,
    /// The light that is there, and whether it is lit.
    torch: RwSignal<Option<(Torch, bool)>, LocalStorage>,
    /// Counts what was begun; what is not the last is over.
    turn: StoredValue<u32>,
    /// What was read last and not wanted.
    aside: StoredValue<Option<String>>,
    tell: UnsyncCallback<String, SerialPreview>,
    taken: UnsyncCallback<String>,
}

impl Scanning {
    /// Ends what goes on; gives the number of what begins.
    fn next(self) -> u32 {
        self.torch.set(None);
        self.turn.update_value(|turn| *turn += 1);
        self.turn.get_value()
    }

    /// Whether this is still wanted. The page may be gone by now.
    fn is_on(self, turn: u32) -> bool {
        self.turn.try_get_value() == Some(turn) && self.open.try_get_untracked() == Some(true)
    }

    fn begin(self) {
        self.late.set(false);
        self.aside.set_value(None);
        self.open.set(true);
        self.look();
    }

    /// Looks through the camera.
    fn look(self) {
        let turn = self.next();
        self.stage.set(Stage::Live);
        set_timeout(
            move || {
                if self.is_on(turn) && self.stage.get_untracked() == Stage::Live {
                    self.late.set(true);
                }
            },
            LATE,
        );
        spawn_local(async move {
            gloo_timers::future::TimeoutFuture::new(DRAWN_MS).await;
            let aside = self.aside.try_get_value().flatten();
            let opened = move |torch: Option<Torch>| {
                if self.is_on(turn) {
                    self.torch.set(torch.map(|torch| (torch, false)));
                }
            };
            let read = barcode::read(VIDEO, aside.as_deref(), move || self.is_on(turn), opened).await;
            self.told(turn, read.map_err(Trouble::Live));
        });
    }

    fn read_photo(self, event: &ev::Event) {
        let Some(file) = camera::files_of(event).into_iter().next() else { return };
        let turn = self.next();
        self.stage.set(Stage::Photo);
        spawn_local(async move {
            let read = barcode::read_photo(file).await;
            self.told(turn, read.map_err(Trouble::Photo));
        });
    }

    fn told(self, turn: u32, read: Result<String, Trouble>) {
        if !self.is_on(turn) {
            return;
        }
        self.next();
        if read.is_ok() {
            barcode::knock();
        }
        self.stage.set(match read {
            Ok(text) => Stage::Found(text),
            Err(trouble) => Stage::Idle(Some(trouble)),
        });
    }

    /// The camera is closed while a photo is taken: a phone has it only once.
    fn pause(self) {
        self.next();
        self.stage.set(Stage::Idle(None));
    }

    fn switch_torch(self) {
        let Some((torch, lit)) = self.torch.get_untracked() else { return };
        spawn_local(async move {
            let is_switched = torch.light(!lit).await;
            // It may be gone with its camera; one that refuses stays as it is.
            let _ = self.torch.try_update(|now| match now {
                Some((_, now)) if is_switched => *now = !lit,
                _ => {}
            });
        });
    }

    fn accept(self) {
        let Stage::Found(text) = self.stage.get_untracked() else { return };
        self.taken.run(text);
        self.open.set(false);
    }

    fn put_aside(self) {
        if let Stage::Found(text) = self.stage.get_untracked() {
            self.aside.set_value(Some(text));
        }
        self.look();
    }

    fn title(self) -> &'static str {
        match self.stage.get() {
            Stage::Live => t!(self.w, "step.serial.scan_title"),
            Stage::Photo => t!(self.w, "step.serial.photo_reading"),
            Stage::Found(_) => t!(self.w, "step.serial.found_title"),
            Stage::Idle(_) => t!(self.w, "step.serial.other_ways"),
        }
    }
}

/// The button that scans, and its dialog.
#[component]
pub fn Scan(
    /// What a text that was read would become.
    #[prop(into)]
    tell: UnsyncCallback<String, SerialPreview>,
    /// Takes a text that a person has looked at.
    #[prop(into)]
    taken: UnsyncCallback<String>,
) -> impl IntoView {
    let w = use_words();
    let scanning = Scanning {
        w,
        open: RwSignal::new(false),
        stage: RwSignal::new(Stage::Idle(None)),
        late: RwSignal::new(false),
        torch: RwSignal::new_local(None),
        turn: StoredValue::new(0),
        aside: StoredValue::new(None),
        tell,
        taken,
    };
    view! {
        <Button label=t!(w, "step.serial.scan") icon=Icon::Scan on_press=move || scanning.begin() />
        <Sheet open=scanning.open title=move || scanning.title() acts=move || acts(scanning)>
            {body(scanning)}
        </Sheet>
    }
    .into_any()
}

fn body(scanning: Scanning) -> AnyView {
    let Scanning { w, stage, late, torch, .. } = scanning;
    // The picture stays while words beside it change.
    let is_live = Memo::new(move |_| stage.get() == Stage::Live);
    let light = move || {
        torch.get().map(|(_, lit)| {
            let label = if lit { t!(w, "step.serial.torch_off") } else { t!(w, "step.serial.torch_on") };
            view! { <Button label icon=Icon::Light on_press=move || scanning.switch_torch() /> }
        })
    };
    let live = move || {
        is_live.get().then(|| {
            view! {
                <video id=VIDEO class="scan" playsinline muted></video>
                {light}
                {move || {
                    let words = if late.get() { t!(w, "step.serial.late") } else { t!(w, "step.serial.scan_hint") };
                    view! { <p class="soft" role="status">{words}</p> }
                }}
            }
        })
    };
    let still = move || match stage.get() {
        Stage::Live => None,
        Stage::Photo => Some(view! { <Waiting /> }.into_any()),
        Stage::Found(text) => Some(found(scanning, text)),
        Stage::Idle(trouble) => {
            let words = trouble.map(|trouble| view! { <p role="status">{trouble.words(w)}</p> });
            Some(view! { {words} <p class="soft">{t!(w, "step.serial.photo_note")}</p> }.into_any())
        }
    };
    view! {
        {live}
        {still}
    }
    .into_any()
}

/// What was read, large enough to be compared with a label at arm's length.
fn found(scanning: Scanning, text: String) -> AnyView {
    let code = shown_code(&text);
    let seen = scanning.tell.run(text);
    let serial = seen.serial.unwrap_or_else(|| code.clone());
    let rest = (code != serial).then(|| view! { <p class="soft code-text">{code}</p> });
    let doubt = seen.fault.or(seen.warning);
    view! {
        <p class="read-value" role="status">{serial}</p>
        {rest}
        {doubt.map(|words| view! { <Banner tone=Tone::Caution><p>{words}</p></Banner> })}
    }
    .into_any()
}

fn acts(scanning: Scanning) -> AnyView {
    let Scanning { w, open, stage, late, .. } = scanning;
    let found = Memo::new(move |_| matches!(stage.get(), Stage::Found(_)));
    let idle = Memo::new(move |_| matches!(stage.get(), Stage::Idle(_)));
    // One chooser all along: one that goes while it is open gives its photo to nobody.
    let other_ways = Memo::new(move |_| idle.get() || late.get() && stage.get() == Stage::Live);
    view! {
        {move || found.get().then(|| view! {
            <Button label=t!(w, "step.serial.use_it") icon=Icon::Tick on_press=move || scanning.accept() />
            <Button label=t!(w, "step.serial.look_again") look=Look::Quiet on_press=move || scanning.put_aside() />
        })}
        {move || idle.get().then(|| view! {
            <Button label=t!(w, "step.serial.look_again") icon=Icon::Scan on_press=move || scanning.look() />
        })}
        {move || other_ways.get().then(|| view! {
            <label class="act chooser">
                <Glyph icon=Icon::Camera />
                <span>{t!(w, "step.serial.photo")}</span>
                <input
                    type="file"
                    class="unseen"
                    accept="image/*"
                    capture="environment"
                    data-label-photo="yes"
                    on:click=move |_| scanning.pause()
                    on:change=move |event| scanning.read_photo(&event)
                />
            </label>
            <Button label=t!(w, "step.serial.type_it") icon=Icon::Edit on_press=move || open.set(false) />
        })}
    }
    .into_any()
}
