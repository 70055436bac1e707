//! Bringing in what another device saved as a file: chosen, checked, joined to the tray.

use leptos::prelude::*;
use leptos::task::spawn_local;

use crate::adapters::camera::{ChosenFile, files_of};
use crate::adapters::rescue_file::{NotARescueFile, RescueFile};
use crate::device::use_device;
use crate::features::crew::saving::store_error;
use crate::i18n::{Words, use_words};
use crate::ports::local_store::StoreError;
use crate::store::{JobStore, entry_to_bring, photo_to_bring};
use crate::ui::{Banner, Glyph, Icon, Section, Tone};
use crate::{t, tn};

/// How far it is.
#[derive(Clone, Debug, Default, PartialEq)]
enum Bringing {
    #[default]
    Idle,
    Reading,
    /// So many entries were new here; so many parts could not be read.
    Done {
        new: usize,
        damaged: usize,
    },
    /// The file has nothing of the person who is signed in.
    OfSomebodyElse,
    Refused(NotARescueFile),
    NotSaved(StoreError),
}

/// The part of the tray that takes a file of another device, and the way to the page that makes one.
#[component]
pub fn BringIn() -> impl IntoView {
    let w = use_words();
    let device = use_device();
    let state = RwSignal::new(Bringing::Idle);
    let busy = Signal::derive(move || state.get() == Bringing::Reading);
    let change = move |event: leptos::ev::Event| {
        let (Some(file), Some(store)) = (files_of(&event).into_iter().next(), device.store_now()) else { return };
        state.set(Bringing::Reading);
        spawn_local(async move {
            let outcome = bring(&store, file).await;
            let _ = state.try_set(outcome);
        });
    };
    view! {
        <Section title=t!(w, "tray.rescue.title")>
            <p class="soft">{t!(w, "tray.rescue.explain")}</p>
            <label class="act" class:busy=move || busy.get() aria-disabled=move || busy.get().then_some("true")>
                <Glyph icon=Icon::Document />
                <span>{t!(w, "tray.rescue.choose")}</span>
                <input type="file" class="unseen" accept=".zip,application/zip" data-rescue="yes" disabled=move || busy.get() on:change=change />
            </label>
            {move || told(w, &state.get())}
            <a class="row-link" href="/rescue.html" rel="external">
                <span class="words"><span class="name">{t!(w, "tray.rescue.make")}</span></span>
                <Glyph icon=Icon::Next />
            </a>
        </Section>
    }
    .into_any()
}

fn told(w: Words, state: &Bringing) -> Option<AnyView> {
    let (tone, words) = match state {
        Bringing::Idle => return None,
        Bringing::Reading => (Tone::Plain, t!(w, "tray.rescue.reading").to_owned()),
        Bringing::Done { new: 0, damaged: 0 } => (Tone::Good, t!(w, "tray.rescue.nothing_new").to_owned()),
        Bringing::Done { new, damaged: 0 } => (Tone::Good, tn!(w, "tray.rescue.done", *new)),
        Bringing::Done { new, damaged } => (Tone::Caution, t!(w, "tray.rescue.partly", new = new, damaged = damaged)),
        Bringing::OfSomebodyElse => (Tone::Caution, t!(w, "tray.rescue.not_yours").to_owned()),
        Bringing::Refused(NotARescueFile::Other) => (Tone::Stop, t!(w, "tray.rescue.other").to_owned()),
        Bringing::Refused(NotARescueFile::Newer) => (Tone::Stop, t!(w, "tray.rescue.newer").to_owned()),
        Bringing::Refused(NotARescueFile::Damaged) => (Tone::Stop, t!(w, "tray.rescue.damaged").to_owned()),
        Bringing::NotSaved(error) => (Tone::Stop, store_error(w, error).to_owned()),
    };
    Some(view! { <Banner tone><p role="status" data-testid="rescue-told">{words}</p></Banner> }.into_any())
}

async fn bring(store: &JobStore, file: ChosenFile) -> Bringing {
    let file = match RescueFile::open(file).await {
        Ok(file) => file,
        Err(refused) => return Bringing::Refused(refused),
    };
    let mine = format!("{}/", store.who().person);
    if file.names(&mine).is_empty() {
        return Bringing::OfSomebodyElse;
    }
    let (mut entries, mut damaged, mut new) = (Vec::new(), 0, 0);
    for name in file.names(&format!("{mine}entry/")) {
        match file.read(&format!("{mine}entry/{name}")).await {
            Ok(Some(bytes)) => entries.extend(entry_to_bring(&bytes.to_vec())),
            Ok(None) | Err(_) => damaged += 1,
        }
    }
    match store.bring_in(entries, Vec::new()).await {
        Ok(taken) => new += taken,
        Err(error) => return Bringing::NotSaved(error),
    }
    // One photo after the other: all of a day at once would not fit into a phone's memory.
    for name in file.names(&format!("{mine}photo/")) {
        let row = match file.read(&format!("{mine}photo/{name}")).await {
            Ok(Some(bytes)) => photo_to_bring(&bytes.to_vec()),
            Ok(None) | Err(_) => {
                damaged += 1;
                continue;
            }
        };
        let Some(row) = row else { continue };
        match file.read(&format!("{mine}bytes/{}", row.file.hash.hex())).await {
            Ok(Some(bytes)) => {
                if let Err(error) = store.bring_in(Vec::new(), vec![(row, bytes)]).await {
                    return Bringing::NotSaved(error);
                }
            }
            Ok(None) | Err(_) => damaged += 1,
        }
    }
    Bringing::Done { new, damaged }
}
