//! The day sheet drawn: its lines, and the whole of it as it was looked at last, until the job files have been read.

use domain::ids::PersonId;
use leptos::prelude::*;
use leptos_router::components::A;

use super::cards::{DayCard, DayGroup, of_text, sheet_of, to_text};
use crate::adapters::kept;
use crate::features::crew::stop_work::stop_face;
use crate::features::crew::today;
use crate::features::words;
use crate::i18n::{Words, use_words};
use crate::routes::Screen;
use crate::session::{LAST_LOOK, use_session};
use crate::t;
use crate::ui::{Chip, Icon, LinkButton, Look, Page, Section, Tone};

/// The sheet as it was looked at last; empty if nobody did.
pub fn last_look(w: Words, me: PersonId) -> Vec<DayGroup> {
    kept::kept(LAST_LOOK).map_or_else(Vec::new, |text| sheet_of(w, today(), of_text(me, w.lang, &text)))
}

/// Keeps these lines for the next start.
pub async fn keep_look(w: Words, me: PersonId, cards: Vec<DayCard>) {
    let text = to_text(me, w.lang, &cards);
    if kept::kept(LAST_LOOK) != text {
        match text {
            Some(text) => kept::keep_sealed(LAST_LOOK, text).await,
            None => kept::keep(LAST_LOOK, None).await,
        }
    }
}

/// The screen of the last look: its lines can be opened, and "Stop work" is on its way. `None` without one.
pub fn draw_last_look() -> Option<AnyView> {
    let w = use_words();
    let me = use_session().profile_now()?.person.id;
    let groups = last_look(w, me);
    if groups.is_empty() {
        return None;
    }
    let first = first_to_do(&groups).map(|card| (t!(w, "day.open", place = card.place), Screen::Job(card.job).href()));
    let bottom = move || {
        let first = first.clone().map(|(label, href)| view! { <LinkButton label href look=Look::Main /> });
        view! {
            <div class="act-row">
                {stop_face(w, Signal::stored(true), || ())}
                {first}
            </div>
        }
    };
    Some(view! { <Page title=t!(w, "screen.day_sheet") bottom=bottom>{draw_groups(w, groups)}</Page> }.into_any())
}

/// The first job of the sheet that can go on is what somebody most likely comes for.
pub fn first_to_do(groups: &[DayGroup]) -> Option<&DayCard> {
    groups.iter().flat_map(|group| &group.cards).find(|card| is_to_do(card))
}

fn is_to_do(card: &DayCard) -> bool {
    use domain::job_file::Phase;
    match card.phase {
        Phase::Planned | Phase::WithCrew | Phase::OnSite | Phase::Paused(_) | Phase::Returned => true,
        Phase::ForReview | Phase::Passed | Phase::Sealed | Phase::Withdrawn => false,
    }
}

/// The lines under their headings.
pub fn draw_groups(w: Words, groups: Vec<DayGroup>) -> AnyView {
    groups.into_iter().map(|group| draw(w, group)).collect_view().into_any()
}

fn draw(w: Words, group: DayGroup) -> AnyView {
    let cards = group.cards.into_iter().map(|card| draw_card(w, card)).collect_view();
    view! {
        <Section title=group.heading>
            <ul class="rows">{cards}</ul>
        </Section>
    }
    .into_any()
}

fn draw_card(w: Words, card: DayCard) -> AnyView {
    let of = card.progress;
    let progress = (of.total > 0).then(|| {
        t!(w, "day.progress", done = of.done, total = of.total, holds = of.holds_done, all_holds = of.holds_total)
    });
    let hour = (!card.hour.is_empty()).then(|| view! { <span class="hour number">{card.hour.clone()}</span> });
    let stopped =
        card.stopped.then(|| view! { <Chip label=t!(w, "job.stop.stopped") tone=Tone::Stop icon=Icon::Stop /> });
    let waiting = (card.waiting > 0)
        .then(|| view! { <Chip label=t!(w, "day.waiting", n = card.waiting) tone=Tone::Wait icon=Icon::Tray /> });
    let attention = (card.attention > 0)
        .then(|| view! { <Chip label=t!(w, "day.attention", n = card.attention) tone=Tone::Stop /> });
    view! {
        <li>
            <A href=Screen::Job(card.job).href() attr:class="row-link job-row">
                {hour}
                <span class="words">
                    <span class="name" dir="auto">{card.place.clone()}</span>
                    <span class="detail">{card.method.clone()}</span>
                    {progress.map(|words| view! { <span class="detail">{words}</span> })}
                    <span class="row">
                        <Chip label=w.say(words::phase(card.phase)) tone=words::phase_tone(card.phase) />
                        {stopped}
                        {waiting}
                        {attention}
                    </span>
                </span>
            </A>
        </li>
    }
    .into_any()
}
