//! What can be filled in. Label above, hint below the label, fault in words beside a sign.

use leptos::prelude::*;
use leptos::text_prop::TextProp;

use super::{Glyph, Icon};

/// Which keyboard and which help of the browser a field asks for.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum FieldKind {
    /// Words.
    #[default]
    Text,
    /// A name or a serial that must not be corrected by the keyboard.
    Exact,
    /// An address for mail; also the user name of a sign-in.
    Email,
    /// The present password.
    Password,
    /// A password to be chosen.
    NewPassword,
    /// A number with a decimal sign: stays text, so that `<` and a comma can be typed.
    Number,
    /// Digits only.
    Digits,
    /// A PIN: digits that nobody beside reads.
    Pin,
    /// A day; the browser shows its calendar, the value is `YYYY-MM-DD`.
    Day,
    /// Something to look for.
    Search,
    /// A number to call.
    Phone,
}

impl FieldKind {
    const fn html_type(self) -> &'static str {
        match self {
            Self::Text | Self::Exact | Self::Number | Self::Digits => "text",
            Self::Email => "email",
            Self::Password | Self::NewPassword | Self::Pin => "password",
            Self::Day => "date",
            Self::Search => "search",
            Self::Phone => "tel",
        }
    }

    const fn keyboard(self) -> &'static str {
        match self {
            Self::Number => "decimal",
            Self::Digits | Self::Pin => "numeric",
            Self::Email => "email",
            Self::Search => "search",
            Self::Phone => "tel",
            Self::Text | Self::Exact | Self::Password | Self::NewPassword | Self::Day => "text",
        }
    }

    const fn autocomplete(self) -> &'static str {
        match self {
            Self::Email => "username",
            Self::Password => "current-password",
            Self::NewPassword => "new-password",
            Self::Text
            | Self::Exact
            | Self::Number
            | Self::Digits
            | Self::Pin
            | Self::Day
            | Self::Search
            | Self::Phone => "off",
        }
    }

    const fn is_plain_words(self) -> bool {
        matches!(self, Self::Text)
    }
}

/// Gives each field an id of its own, to bind label, hint and fault to it.
fn next_id() -> String {
    use std::sync::atomic::{AtomicU32, Ordering};
    static NEXT: AtomicU32 = AtomicU32::new(1);
    format!("f{}", NEXT.fetch_add(1, Ordering::Relaxed))
}

fn fault_line(id: String, fault: Signal<Option<String>>) -> impl IntoView {
    move || {
        let id = id.clone();
        fault.get().map(
            |words| view! { <p class="fault" id=id role="alert"><Glyph icon=Icon::Caution /><span>{words}</span></p> },
        )
    }
}

/// One line to fill in.
#[component]
pub fn Field(
    /// What it asks for.
    #[prop(into)]
    label: TextProp,
    /// What is typed.
    value: RwSignal<String>,
    /// Keyboard and help.
    #[prop(optional)]
    kind: FieldKind,
    /// A line of help that is always there.
    #[prop(into, optional)]
    hint: Option<TextProp>,
    /// What is wrong with it, if anything.
    #[prop(into, optional)]
    fault: Signal<Option<String>>,
    /// A unit behind the value.
    #[prop(into, optional)]
    unit: Option<TextProp>,
    /// Shows a password in plain.
    #[prop(into, optional)]
    plain: Signal<bool>,
    /// Runs when the field is left, after the value is in.
    #[prop(into, optional)]
    on_leave: Option<UnsyncCallback<()>>,
    /// Cannot be changed.
    #[prop(into, optional)]
    disabled: Signal<bool>,
) -> impl IntoView {
    let id = next_id();
    let (hint_id, fault_id) = (format!("{id}h"), format!("{id}e"));
    let described = format!("{hint_id} {fault_id}");
    let input = view! {
        <input
            id=id.clone()
            type=move || if plain.get() { "text" } else { kind.html_type() }
            inputmode=kind.keyboard()
            autocomplete=kind.autocomplete()
            autocapitalize=if kind.is_plain_words() { "sentences" } else { "none" }
            spellcheck=if kind.is_plain_words() { "true" } else { "false" }
            dir="auto"
            aria-describedby=described
            aria-invalid=move || fault.get().is_some().then_some("true")
            disabled=move || disabled.get()
            prop:value=move || value.get()
            on:input=move |event| value.set(event_target_value(&event))
            on:blur=move |_| {
                if let Some(on_leave) = on_leave {
                    on_leave.run(());
                }
            }
        />
    };
    view! {
        <div class="field" class:wrong=move || fault.get().is_some()>
            <label for=id>{move || label.get()}</label>
            {hint.map(|hint| view! { <p class="hint" id=hint_id>{move || hint.get()}</p> })}
            {match unit {
                Some(unit) => view! { <div class="with-unit">{input}<span class="unit">{move || unit.get()}</span></div> }.into_any(),
                None => input.into_any(),
            }}
            {fault_line(fault_id, fault)}
        </div>
    }
    .into_any()
}

/// Several lines to fill in.
#[component]
pub fn Area(
    /// What it asks for.
    #[prop(into)]
    label: TextProp,
    /// What is typed.
    value: RwSignal<String>,
    /// A line of help that is always there.
    #[prop(into, optional)]
    hint: Option<TextProp>,
    /// What is wrong with it, if anything.
    #[prop(into, optional)]
    fault: Signal<Option<String>>,
    /// For how much more there is room, once that is little.
    #[prop(into, optional)]
    room: Signal<Option<String>>,
    /// Runs when the field is left.
    #[prop(into, optional)]
    on_leave: Option<UnsyncCallback<()>>,
) -> impl IntoView {
    let id = next_id();
    let (hint_id, fault_id) = (format!("{id}h"), format!("{id}e"));
    view! {
        <div class="field" class:wrong=move || fault.get().is_some()>
            <label for=id.clone()>{move || label.get()}</label>
            {hint.map(|hint| view! { <p class="hint" id=hint_id.clone()>{move || hint.get()}</p> })}
            // Without this a browser keeps what is typed for restoring its windows, in the clear and outside of what is sealed.
            <textarea
                id=id
                rows="4"
                autocomplete="off"
                dir="auto"
                aria-describedby=format!("{hint_id} {fault_id}")
                aria-invalid=move || fault.get().is_some().then_some("true")
                prop:value=move || value.get()
                on:input=move |event| value.set(event_target_value(&event))
                on:blur=move |_| {
                    if let Some(on_leave) = on_leave {
                        on_leave.run(());
                    }
                }
            ></textarea>
            {move || room.get().map(|words| view! { <p class="soft room">{words}</p> })}
            {fault_line(fault_id, fault)}
        </div>
    }
    .into_any()
}

/// One of several: what is stored, what is shown, a line of help.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Choice {
    /// What is stored.
    pub value: String,
    /// What is shown.
    pub label: String,
    /// A line of help (radio rows only).
    pub hint: Option<String>,
}

impl Choice {
    /// A choice without help.
    pub fn new(value: impl Into<String>, label: impl Into<String>) -> Self {
        Self { value: value.into(), label: label.into(), hint: None }
    }
}

/// One of many, folded up.
#[component]
pub fn Select(
    /// What it asks for.
    #[prop(into)]
    label: TextProp,
    /// The stored value of the choice.
    value: RwSignal<String>,
    /// What can be chosen.
    #[prop(into)]
    choices: Signal<Vec<Choice>>,
    /// A line of help.
    #[prop(into, optional)]
    hint: Option<TextProp>,
    /// What is wrong with it, if anything.
    #[prop(into, optional)]
    fault: Signal<Option<String>>,
    /// Runs after another choice.
    #[prop(into, optional)]
    on_change: Option<UnsyncCallback<()>>,
    /// Cannot be changed.
    #[prop(into, optional)]
    disabled: Signal<bool>,
) -> impl IntoView {
    let id = next_id();
    let (hint_id, fault_id) = (format!("{id}h"), format!("{id}e"));
    let options = move || {
        let chosen = value.get();
        let option = |choice: Choice| {
            let is_chosen = choice.value == chosen;
            view! { <option value=choice.value selected=is_chosen>{choice.label}</option> }
        };
        choices.get().into_iter().map(option).collect_view()
    };
    view! {
        <div class="field" class:wrong=move || fault.get().is_some()>
            <label for=id.clone()>{move || label.get()}</label>
            {hint.map(|hint| view! { <p class="hint" id=hint_id.clone()>{move || hint.get()}</p> })}
            <select
                id=id
                aria-describedby=format!("{hint_id} {fault_id}")
                aria-invalid=move || fault.get().is_some().then_some("true")
                disabled=move || disabled.get()
                on:change=move |event| {
                    value.set(event_target_value(&event));
                    if let Some(on_change) = on_change {
                        on_change.run(());
                    }
                }
            >
                {options}
            </select>
            {fault_line(fault_id, fault)}
        </div>
    }
    .into_any()
}

/// A row that is ticked or not; the whole row is the target.
#[component]
pub fn CheckRow(
    /// The statement.
    #[prop(into)]
    label: TextProp,
    /// Ticked?
    checked: RwSignal<bool>,
    /// A line of help.
    #[prop(into, optional)]
    hint: Option<TextProp>,
    /// Runs after the change.
    #[prop(into, optional)]
    on_change: Option<UnsyncCallback<()>>,
    /// Cannot be changed.
    #[prop(into, optional)]
    disabled: Signal<bool>,
) -> impl IntoView {
    view! {
        <label class="tick">
            <input
                type="checkbox"
                prop:checked=move || checked.get()
                disabled=move || disabled.get()
                on:change=move |event| {
                    checked.set(event_target_checked(&event));
                    if let Some(on_change) = on_change {
                        on_change.run(());
                    }
                }
            />
            <span class="words">
                <span>{move || label.get()}</span>
                {hint.map(|hint| view! { <span class="soft">{move || hint.get()}</span> })}
            </span>
        </label>
    }
    .into_any()
}

/// One of a few, all in sight.
#[component]
pub fn RadioRows(
    /// What it asks for.
    #[prop(into)]
    label: TextProp,
    /// The stored value of the choice.
    value: RwSignal<String>,
    /// What can be chosen.
    choices: Vec<Choice>,
    /// Runs after another choice.
    #[prop(into, optional)]
    on_change: Option<UnsyncCallback<()>>,
) -> impl IntoView {
    let group = next_id();
    let row = move |choice: Choice| {
        let (own, chosen) = (choice.value.clone(), choice.value.clone());
        view! {
            <label class="tick">
                <input
                    type="radio"
                    name=group.clone()
                    value=choice.value
                    prop:checked=move || value.get() == own
                    on:change=move |_| {
                        value.set(chosen.clone());
                        if let Some(on_change) = on_change {
                            on_change.run(());
                        }
                    }
                />
                <span class="words">
                    <span>{choice.label}</span>
                    {choice.hint.map(|hint| view! { <span class="soft">{hint}</span> })}
                </span>
            </label>
        }
    };
    view! {
        <fieldset class="choices">
            <legend>{move || label.get()}</legend>
            {choices.into_iter().map(row).collect_view()}
        </fieldset>
    }
    .into_any()
}
