//! Both drawings, live, each with its words for those who cannot see it.

use leptos::prelude::*;

use super::form::{folding, unfolded};
use super::results::Ground;
use super::words::{single_line_in_words, stack_in_words};
use crate::i18n::Words;
use crate::t;
use crate::ui::Button;

/// The single-line diagram.
pub fn single_line_part(ground: Ground) -> AnyView {
    let w = ground.around.w;
    let svg = Memo::new(move |_| ground.computed.with(|now| now.single_line.clone()));
    let told = Memo::new(move |_| ground.computed.with(|now| single_line_in_words(w, &now.design)));
    drawing(w, "single-line", t!(w, "design.single_line"), Some(t!(w, "design.not_drawn")), svg, told)
}

/// The stack with its distances.
pub fn stack_part(ground: Ground) -> AnyView {
    let (w, rules) = (ground.around.w, ground.around.rules);
    let svg = Memo::new(move |_| ground.computed.with(|now| now.stack.clone()));
    let told = Memo::new(move |_| {
        ground.computed.with(|now| rules.with(|rules| stack_in_words(w, rules, &now.design, &now.sheet.lines)))
    });
    drawing(w, "stack", t!(w, "design.stack_drawing"), None, svg, told)
}

fn drawing(
    w: Words,
    id: &str,
    title: &'static str,
    lacks: Option<&'static str>,
    svg: Memo<String>,
    told: Memo<Vec<String>>,
) -> AnyView {
    let large = RwSignal::new(false);
    let label = move || if large.get() { t!(w, "design.whole") } else { t!(w, "design.larger") };
    let alternative = move || format!("{title}. {}", told.with(|told| told.join("; ")));
    let lines =
        move || told.get().into_iter().map(|line| view! { <li>{line}</li> }.into_any()).collect::<Vec<AnyView>>();
    // The text is made by `domain`, which escapes what it puts in.
    let content = view! {
        <div class="plate" class:large=move || large.get() tabindex=move || large.get().then_some("0") role="img" aria-label=alternative inner_html=move || svg.get()></div>
        {lacks.map(|lacks| view! { <p class="soft">{lacks}</p> })}
        <div class="no-print"><Button label on_press=move || large.update(|large| *large = !*large) /></div>
        <details class="no-print">
            <summary>{t!(w, "design.in_words")}</summary>
            <ul class="stack bullets">{lines}</ul>
        </details>
    };
    folding(id, title, ().into_any(), unfolded(), content.into_any())
}
