//! Lists, steps and tables.

use leptos::prelude::*;
use leptos::text_prop::TextProp;
use leptos_router::components::A;

use super::{Glyph, Icon};

/// A row that leads somewhere: a name, a line below it, a state at its end (children).
#[component]
pub fn RowLink(
    /// Where it leads.
    #[prop(into)]
    href: String,
    /// What it is.
    #[prop(into)]
    name: TextProp,
    /// A line below.
    #[prop(into, optional)]
    detail: Option<TextProp>,
    /// A picture before it.
    #[prop(into, optional)]
    icon: Option<Icon>,
    /// A chip at the end.
    #[prop(optional)]
    children: Option<Children>,
) -> impl IntoView {
    view! {
        <A href=href attr:class="row-link">
            {icon.map(|icon| view! { <Glyph icon /> })}
            <span class="words">
                <span class="name" dir="auto">{move || name.get()}</span>
                {detail.map(|detail| view! { <span class="detail" dir="auto">{move || detail.get()}</span> })}
                {children.map(|children| children())}
            </span>
            <Glyph icon=Icon::Next />
        </A>
    }
    .into_any()
}

/// Where a step of a list stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum StepState {
    /// Behind us.
    Done,
    /// To be done now.
    Now,
    /// Can be done, not the next one.
    Open,
    /// Something before it is missing.
    Locked,
    /// Something is wrong with it.
    Wrong,
    /// Waits for somebody else.
    Pending,
    /// Done with an allowed deviation.
    Deviating,
    /// Does not apply here.
    Left,
}

impl StepState {
    /// The word by which a style sheet gives the state its shape and colour.
    pub const fn class(self) -> &'static str {
        match self {
            Self::Done => "done",
            Self::Now => "now",
            Self::Open => "open",
            Self::Locked => "locked",
            Self::Wrong => "wrong",
            Self::Pending => "pending",
            Self::Deviating => "deviating",
            Self::Left => "left-out",
        }
    }

    /// Its picture; no two states share one, for colour alone tells nobody anything.
    pub const fn icon(self) -> Icon {
        match self {
            Self::Done => Icon::Tick,
            Self::Now => Icon::Next,
            Self::Open => Icon::Dot,
            Self::Locked => Icon::Lock,
            Self::Wrong => Icon::Cross,
            Self::Pending => Icon::Half,
            Self::Deviating => Icon::Around,
            Self::Left => Icon::Dash,
        }
    }
}

/// A list of steps threaded on one stripe; children are [`StepRow`]s.
#[component]
pub fn Steps(children: Children) -> impl IntoView {
    view! { <ol class="steps">{children()}</ol> }.into_any()
}

/// One step: its state is a picture on the stripe and the word in `state_word`.
#[component]
pub fn StepRow(
    /// Where it stands.
    state: StepState,
    /// The same in a word.
    #[prop(into)]
    state_word: TextProp,
    /// Where it leads.
    #[prop(into)]
    href: String,
    /// What it is.
    #[prop(into)]
    name: TextProp,
) -> impl IntoView {
    view! {
        <li class=state.class()>
            <span class="knob"><Glyph icon=state.icon() /></span>
            <RowLink href name detail=state_word />
        </li>
    }
    .into_any()
}

/// So many columns stand beside each other on a desk of any width.
const FEW_COLUMNS: usize = 4;
/// So many do when their words may take a second line; with more of them each row becomes a card on a tablet.
const SOME_COLUMNS: usize = 7;

/// A dense table on a desk, a list of cards where its columns have no room. Children are `<tr>`; give each `<td>` its `data-label`.
#[component]
pub fn Table(
    /// What the table shows; read out, and hidden from sight with `quiet`.
    #[prop(into)]
    caption: TextProp,
    /// Hides the caption from sight.
    #[prop(optional)]
    quiet: bool,
    /// Names of the columns.
    head: Vec<String>,
    /// The rows.
    children: Children,
) -> impl IntoView {
    let room = match head.len() {
        few if few <= FEW_COLUMNS => "table-scroll",
        some if some <= SOME_COLUMNS => "table-scroll some",
        _ => "table-scroll many",
    };
    view! {
        <div class=room>
            <table class="table">
                <caption class:unseen=quiet>{move || caption.get()}</caption>
                <thead>
                    <tr>{head.into_iter().map(|name| view! { <th scope="col">{name}</th> }).collect_view()}</tr>
                </thead>
                <tbody>{children()}</tbody>
            </table>
        </div>
    }
    .into_any()
}

#[cfg(test)]
mod tests {
    use super::*;

    const ALL: [StepState; 8] = [
        StepState::Done,
        StepState::Now,
        StepState::Open,
        StepState::Locked,
        StepState::Wrong,
        StepState::Pending,
        StepState::Deviating,
        StepState::Left,
    ];

    #[test]
    fn every_state_of_a_step_has_a_picture_and_a_class_of_its_own() {
        for (index, one) in ALL.into_iter().enumerate() {
            for other in &ALL[index + 1..] {
                assert_ne!(one.icon().lines(), other.icon().lines(), "{one:?} {other:?}");
                assert_ne!(one.class(), other.class(), "{one:?} {other:?}");
            }
        }
    }
}
