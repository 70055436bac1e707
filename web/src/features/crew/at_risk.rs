//! What a person must hear of what is only on this device: that it has waited for days, that this browser keeps little or promises
//! nothing, that it has thrown something away. The rules are [`domain::tray`]'s; here are their words.

use domain::tray::{Concern, Counts, Urgency, days_between};
use gloo_timers::callback::Interval;
use leptos::prelude::*;
use leptos::task::spawn_local;

use super::lost::Lost;
use super::moment;
use crate::adapters::browser;
use crate::app::SyncStatus;
use crate::i18n::{Words, use_words};
use crate::routes::Screen;
use crate::sync::use_ground;
use crate::ui::{Banner, Button, LinkButton, Look, Tone};
use crate::{t, tn};

/// Until when the hint to install stays away, microseconds since 1970.
const NOT_BEFORE: &str = "install-not-before";
const NOT_NOW_US: i64 = 7 * 24 * 60 * 60 * 1_000_000;

/// How often a page that stands open counts the days anew.
const TICK_MS: u32 = 10 * 60 * 1_000;

/// What is said of the age of what waits.
#[derive(Clone, Debug, PartialEq, Eq)]
struct AgeNews {
    urgency: Urgency,
    title: String,
    text: String,
}

/// `None` while nothing has waited for long.
fn age_news(w: Words, counts: &Counts, now_ms: u64, local: impl Fn(u64) -> String) -> Option<AgeNews> {
    let oldest_ms = counts.oldest_ms?;
    let days = days_between(oldest_ms, now_ms);
    let (n, since) = (counts.waiting() + counts.aside, local(oldest_ms.saturating_mul(1_000)));
    let urgency = Urgency::of(Some(oldest_ms), now_ms);
    let title = match urgency {
        Urgency::Calm => return None,
        Urgency::Warn => t!(w, "risk.age.title", days = days),
        Urgency::Urgent => t!(w, "risk.age.title_urgent", days = days),
    };
    Some(AgeNews { urgency, title, text: tn!(w, "risk.age.text", n, since = since) })
}

fn draw_age(w: Words, news: AgeNews, on_tray: bool) -> AnyView {
    let is_urgent = news.urgency == Urgency::Urgent;
    let (tone, name, what_now) = if is_urgent {
        (Tone::Stop, "urgent", t!(w, "risk.age.urgent"))
    } else {
        (Tone::Caution, "warn", t!(w, "risk.age.warn"))
    };
    let way = (!on_tray).then(|| view! { <LinkButton label=t!(w, "risk.to_tray") href=Screen::Tray.href() /> });
    let save = (on_tray && is_urgent).then(
        || view! { <a class="act" href="/rescue.html" rel="external"><span>{t!(w, "tray.rescue.make")}</span></a> },
    );
    view! {
        <Banner tone title=news.title>
            <p data-age=name>{news.text}</p>
            <p>{what_now}</p>
            {way}
            {save}
        </Banner>
    }
    .into_any()
}

/// Stands at the top of the day sheet and of the tray; nothing while all is well.
#[component]
pub fn AtRisk(
    /// On the tray itself: the way there is not offered, and the way to save all as a file is.
    #[prop(optional)]
    on_tray: bool,
) -> impl IntoView {
    let w = use_words();
    let ground = use_ground();
    let status = expect_context::<SyncStatus>();
    let tick = RwSignal::new(());
    // Ends with the page.
    let _ticking = StoredValue::new_local(Interval::new(TICK_MS, move || {
        let _ = tick.try_set(());
    }));
    let age = Memo::new(move |_| {
        tick.track();
        // Back from a night in a pocket, the word changes before the next tick.
        status.word.track();
        let counts = ground.local()?.sync.view().counts.get();
        let now_ms = u64::try_from(browser::now_us() / 1_000).unwrap_or(0);
        age_news(w, &counts, now_ms, |us| moment(w, us))
    });
    let concern = concern();
    let poor = move || {
        let (name, title, text) = match concern.get()? {
            Concern::Full => ("full", t!(w, "risk.full.title"), t!(w, "risk.full.text")),
            Concern::KeepsNothing => {
                ("keeps-nothing", t!(w, "risk.keeps_nothing.title"), t!(w, "risk.keeps_nothing.text"))
            }
            Concern::Small => ("small", t!(w, "risk.small.title"), t!(w, "risk.small.text")),
            Concern::NotPromised => return None,
        };
        let tone = if name == "small" { Tone::Caution } else { Tone::Stop };
        Some(view! { <Banner tone title><p data-concern=name>{text}</p></Banner> })
    };
    // Nothing moves here, and it is not the line.
    let elsewhere = move || {
        let view = ground.local()?.sync.view().clone();
        (view.is_elsewhere.get() && view.counts.get().waiting() > 0).then(|| {
            view! {
                <Banner tone=Tone::Wait title=t!(w, "tray.elsewhere.title")>
                    <p data-elsewhere="yes">{t!(w, "tray.elsewhere.text")}</p>
                </Banner>
            }
        })
    };
    // For tests: the trial write is over, so that what is not said now will not be said.
    let is_tried = move || ground.local()?.sync.view().storage.get()?.probe.map(|_| "yes");
    view! {
        <div class="at-risk" data-tried=is_tried>
            {poor}
            {elsewhere}
            <Lost />
            {move || age.get().map(|news| draw_age(w, news, on_tray))}
        </div>
    }
    .into_any()
}

/// The worst that is known of what records lie on here.
fn concern() -> Memo<Option<Concern>> {
    let ground = use_ground();
    Memo::new(move |_| ground.local()?.sync.view().storage.get()?.footing().concern())
}

/// Says that unsent work is at risk in a browser that promises nothing, and how to install the app.
#[component]
pub fn InstallHint(
    /// Can be put off for a week.
    #[prop(optional)]
    can_wait: bool,
) -> impl IntoView {
    let w = use_words();
    let concern = concern();
    let is_put_off = RwSignal::new(
        can_wait
            && browser::kept(NOT_BEFORE).and_then(|us| us.parse().ok()).is_some_and(|us: i64| browser::now_us() < us),
    );
    let put_off = move || {
        browser::keep(NOT_BEFORE, Some(&(browser::now_us() + NOT_NOW_US).to_string()));
        is_put_off.set(true);
    };
    let install = move || spawn_local(browser::install());
    move || {
        (concern.get() == Some(Concern::NotPromised) && !is_put_off.get()).then(|| {
            let offered = browser::can_install()
                .then(|| view! { <Button label=t!(w, "risk.install.action") on_press=install /> });
            let later = can_wait
                .then(|| view! { <Button label=t!(w, "risk.install.not_now") look=Look::Quiet on_press=put_off /> });
            view! {
                <Banner title=t!(w, "risk.install.title")>
                    <p data-concern="not-promised">{t!(w, "risk.install.text")}</p>
                    <p>{t!(w, "risk.install.how")}</p>
                    {offered}
                    {later}
                </Banner>
            }
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use domain::tray::DAY_MS;

    const NOW: u64 = 1_767_225_600_000;

    #[test]
    fn the_words_grow_with_the_days() {
        let (w, none) = (Words::default(), Counts::default());
        let at = |us: u64| us.to_string();
        let since = |days: u64| Counts { entries: 2, aside: 1, oldest_ms: Some(NOW - days * DAY_MS), ..none };
        assert_eq!(age_news(w, &none, NOW, at), None);
        assert_eq!(age_news(w, &since(1), NOW, at), None);
        let warn = age_news(w, &since(2), NOW, at).expect("two days are told");
        assert!(warn.urgency == Urgency::Warn && warn.title.contains('2') && warn.text.contains('3'), "{warn:?}");
        let urgent = age_news(w, &since(6), NOW, at).expect("six days are told");
        assert!(urgent.urgency == Urgency::Urgent && urgent.title.contains('6'), "{urgent:?}");
        assert_ne!(urgent.title.replace('6', "2"), warn.title);
    }
}
