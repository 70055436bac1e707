//! Small things of the browser that need no adapter of their own.
#![allow(clippy::disallowed_methods, reason = "adapters read the browser's clock")]

use std::cell::RefCell;
use std::future::Future;
use std::pin::Pin;
use std::rc::Rc;

use js_sys::{Function, Promise, Reflect};
use leptos::prelude::{on_cleanup, request_animation_frame, window_event_listener};
use wasm_bindgen::prelude::*;
use wasm_bindgen_futures::{JsFuture, future_to_promise};

/// Before every key in the browser's small store.
const PREFIX: &str = "witnessmark.";
/// The page tells the watchdog that it is alive.
const ALIVE: &str = "witnessmark:alive";
/// The page tells the watchdog that it stumbled; the detail is the message.
const CRASHED: &str = "witnessmark:crashed";
/// `start.js` tells the page that a new version waits.
const UPDATE_READY: &str = "witnessmark:update-ready";
/// The page tells `start.js` to let the new version in.
const TAKE_OVER: &str = "witnessmark:take-over";

fn window() -> Option<web_sys::Window> {
    web_sys::window()
}

fn root() -> Option<web_sys::Element> {
    window()?.document()?.document_element()
}

fn store() -> Option<web_sys::Storage> {
    // Refused where a browser blocks all storage: then nothing is remembered, and the app says so elsewhere.
    window()?.local_storage().ok().flatten()
}

/// A small value that was kept; nothing secret belongs there.
pub fn kept(name: &str) -> Option<String> {
    store()?.get_item(&format!("{PREFIX}{name}")).ok().flatten()
}

/// Keeps a small value; `None` forgets it. False when the browser refused.
pub fn keep(name: &str, value: Option<&str>) -> bool {
    let name = format!("{PREFIX}{name}");
    let Some(store) = store() else { return false };
    match value {
        Some(value) => store.set_item(&name, value).is_ok(),
        None => store.remove_item(&name).is_ok(),
    }
}

/// The first language that the browser asks for, such as `de-AT`.
pub fn language() -> Option<String> {
    window()?.navigator().language()
}

/// Tells the document which language it is in: screen readers and hyphenation go by it.
pub fn set_document_language(code: &str) {
    if let Some(root) = root() {
        let _ = root.set_attribute("lang", code);
    }
}

/// Light, dark, or (`None`) as the device has it.
pub fn set_theme(theme: Option<&str>) {
    if let Some(root) = root() {
        let _ = match theme {
            Some(theme) => root.set_attribute("data-theme", theme),
            None => root.remove_attribute("data-theme"),
        };
    }
}

/// The build that this page came from; empty when it was served unfilled.
pub fn build() -> String {
    root().and_then(|root| root.get_attribute("data-build")).unwrap_or_default()
}

/// The device's clock in microseconds since 1970. It may be wrong; what matters is stamped by the server.
pub fn now_us() -> i64 {
    (js_sys::Date::now() * 1_000.0) as i64
}

/// What local time is ahead of UTC at a moment, in minutes.
pub fn offset_minutes(us: i64) -> i32 {
    let date = js_sys::Date::new(&JsValue::from_f64(us as f64 / 1_000.0));
    -(date.get_timezone_offset() as i32)
}

/// May this page use camera, keys and a service worker (https or localhost)?
pub fn is_secure() -> bool {
    window().is_some_and(|window| window.is_secure_context())
}

/// Where this page came from, such as `https://crew.example`.
pub fn origin() -> String {
    window().and_then(|window| window.location().origin().ok()).unwrap_or_default()
}

/// What the browser says it is.
pub fn user_agent() -> String {
    window().and_then(|window| window.navigator().user_agent().ok()).unwrap_or_default()
}

/// Loads the page again.
pub fn reload() {
    if let Some(window) = window() {
        let _ = window.location().reload();
    }
}

/// Puts words on the clipboard; false where the browser refuses.
pub async fn copy(words: &str) -> bool {
    let Some(window) = window().filter(web_sys::Window::is_secure_context) else { return false };
    JsFuture::from(window.navigator().clipboard().write_text(words)).await.is_ok()
}

/// Moves the focus to the content of a new page, so that screen readers begin there.
pub fn focus_main() {
    let main = window().and_then(|window| window.document()).and_then(|document| document.get_element_by_id("main"));
    if let Some(main) = main.and_then(|main| main.dyn_into::<web_sys::HtmlElement>().ok()) {
        let _ = main.focus();
    }
}

/// Moves the focus to an element, or to the first field inside it, and so into sight.
pub fn focus(id: &str) {
    let Some(found) = window().and_then(|window| window.document()).and_then(|document| document.get_element_by_id(id))
    else {
        return;
    };
    // What is folded away has no focus.
    let folded = |element: &web_sys::Element| element.closest("details:not([open])").ok().flatten();
    while let Some(around) = folded(&found) {
        if around.set_attribute("open", "").is_err() {
            break;
        }
    }
    let inside = found.query_selector("input, select, textarea").ok().flatten();
    if let Ok(element) = inside.unwrap_or(found).dyn_into::<web_sys::HtmlElement>() {
        let _ = element.focus();
        // The label above it belongs to what is seen.
        if let Some(field) = element.closest(".field").ok().flatten() {
            field.scroll_into_view();
        }
    }
}

/// Is there room for two columns beside each other?
pub fn is_wide() -> bool {
    let list = window().and_then(|window| window.match_media("(min-width: 1000px)").ok().flatten());
    list.is_none_or(|list| list.matches())
}

/// Did this event leave its part of the page unfolded?
pub fn is_open(event: &web_sys::Event) -> bool {
    event.target().is_some_and(|target| Reflect::get(&target, &"open".into()).is_ok_and(|open| open.is_truthy()))
}

/// Unfolds every part of the page that matches.
pub fn unfold(css: &str) {
    let Some(document) = window().and_then(|window| window.document()) else { return };
    for part in every(&document, css) {
        let _ = part.set_attribute("open", "");
    }
}

/// Fields that are marked as wrong, in the order of the page: id and label. Of the dialog alone where one is open.
pub fn wrong_fields() -> Vec<(String, String)> {
    let Some(document) = window().and_then(|window| window.document()) else { return Vec::new() };
    let labelled = |element: web_sys::Element| {
        let label = document.query_selector(&format!("label[for={}]", element.id())).ok().flatten();
        Some((element.id(), label?.text_content()?))
    };
    wrong_elements(&document).into_iter().filter_map(labelled).collect()
}

/// Moves the focus to the first field that is marked as wrong, once that is drawn.
pub fn focus_wrong_soon() {
    request_animation_frame(|| {
        let Some(document) = window().and_then(|window| window.document()) else { return };
        if let Some(first) = wrong_elements(&document).into_iter().next() {
            focus(&first.id());
        }
    });
}

fn wrong_elements(document: &web_sys::Document) -> Vec<web_sys::Element> {
    let of_dialog = every(document, "dialog[open] [aria-invalid=true]");
    if of_dialog.is_empty() { every(document, "[aria-invalid=true]") } else { of_dialog }
}

fn every(document: &web_sys::Document, css: &str) -> Vec<web_sys::Element> {
    // By hand: the type of its answer would be one more that the app carries.
    let ask = Reflect::get(document, &"querySelectorAll".into()).ok().and_then(|ask| ask.dyn_into::<Function>().ok());
    let found = ask.and_then(|ask| ask.call1(document, &css.into()).ok());
    let found = found.map(|found| js_sys::Array::from(&found)).unwrap_or_default();
    found.iter().filter_map(|one| one.dyn_into().ok()).collect()
}

/// Moves on to the field after the one that is being filled in, among those below the element with that id; stays where there is none.
pub fn focus_next_field(id: &str) {
    let Some(document) = window().and_then(|window| window.document()) else { return };
    let fields = every(&document, &format!("#{id} input"));
    let own = document.active_element();
    let next = fields.iter().skip_while(|field| Some(*field) != own.as_ref()).nth(1);
    if let Some(next) = next {
        focus(&next.id());
    }
}

/// Scrolls until the element with that id is at the top of what is seen.
pub fn bring_into_sight(id: &str) {
    let document = web_sys::window().and_then(|window| window.document());
    if let Some(element) = document.and_then(|document| document.get_element_by_id(id)) {
        element.scroll_into_view();
    }
}

/// Scrolls until the element with that id begins under the head of the page, unless all of it is in sight between head and bar.
pub fn bring_under_head(id: &str) {
    let Some(document) = web_sys::window().and_then(|window| window.document()) else { return };
    let Some(element) = document.get_element_by_id(id) else { return };
    let edge = |css: &str| document.query_selector(css).ok().flatten().map(|edge| edge.get_bounding_client_rect());
    let own = element.get_bounding_client_rect();
    let is_below_head = edge(".page-top").is_none_or(|head| own.top() >= head.bottom());
    let is_above_bar = edge(".bottom").is_none_or(|bar| own.bottom() <= bar.top());
    if !(is_below_head && is_above_bar) {
        element.scroll_into_view();
    }
}

/// Scrolls until all of the element with that id is in sight between the head of the page and its bar, and gives it the focus.
pub fn lead_to(id: &str) {
    let Some(window) = web_sys::window() else { return };
    let Some(document) = window.document() else { return };
    let Some(element) = document.get_element_by_id(id) else { return };
    let edge = |css: &str| document.query_selector(css).ok().flatten().map(|edge| edge.get_bounding_client_rect());
    let own = element.get_bounding_client_rect();
    let below = edge(".bottom").map_or(0.0, |bar| own.bottom() - bar.top() + ROOM_PX);
    let above = edge(".page-top").map_or(0.0, |head| head.bottom() + ROOM_PX - own.top());
    if below > 0.0 {
        window.scroll_by_with_x_and_y(0.0, below);
    } else if above > 0.0 {
        window.scroll_by_with_x_and_y(0.0, -above);
    }
    if let Ok(element) = element.dyn_into::<web_sys::HtmlElement>() {
        let keep_place = web_sys::FocusOptions::new();
        keep_place.set_prevent_scroll(true);
        let _ = element.focus_with_options(&keep_place);
    }
}

/// Between what somebody is led to and the edge of the page's head or bar.
const ROOM_PX: f64 = 12.0;

/// Runs `news` whenever somebody types or chooses on this page, for as long as the part of the page that asks is there.
pub fn on_typing(news: impl Fn() + 'static) {
    let listening = window_event_listener(leptos::ev::input, move |_| news());
    on_cleanup(move || listening.remove());
}

/// Lets the browser draw and listen before the work goes on.
pub async fn breathe() {
    gloo_timers::future::TimeoutFuture::new(0).await;
}

/// Prints the page, once what was just decided is drawn.
pub fn print_soon() {
    gloo_timers::callback::Timeout::new(0, || {
        if let Some(window) = window() {
            let _ = window.print();
        }
    })
    .forget();
}

fn tell(name: &str, detail: Option<&str>) {
    let Some(window) = window() else { return };
    let event = web_sys::CustomEvent::new(name).ok().inspect(|event| {
        if let Some(detail) = detail {
            event.init_custom_event_with_can_bubble_and_cancelable_and_detail(name, false, false, &detail.into());
        }
    });
    if let Some(event) = event {
        let _ = window.dispatch_event(&event);
    }
}

/// The watchdog may sleep: a screen is there.
pub fn report_alive() {
    tell(ALIVE, None);
}

/// Covers the screen: after a panic nothing on it works, though it looks alive. Runs inside the panic hook.
pub fn report_crash(message: &str) {
    tell(CRASHED, Some(message));
}

/// Runs `news` each time that a new version waits, also when one waited already. Lives as long as the page.
pub fn on_update_ready(news: impl Fn() + 'static) {
    let Some(window) = window() else { return };
    if root().is_some_and(|root| root.has_attribute("data-update")) {
        news();
    }
    let listener = Closure::<dyn Fn()>::new(news);
    let _ = window.add_event_listener_with_callback(UPDATE_READY, listener.as_ref().unchecked_ref());
    listener.forget();
}

/// Tells whether a media query applies, at once and whenever that changes. Lives as long as the page.
pub fn on_media(query: &str, news: impl Fn(bool) + 'static) {
    let Some(list) = window().and_then(|window| window.match_media(query).ok().flatten()) else { return };
    news(list.matches());
    let of = list.clone();
    let listener = Closure::<dyn Fn()>::new(move || news(of.matches()));
    let _ = list.add_event_listener_with_callback("change", listener.as_ref().unchecked_ref());
    listener.forget();
}

/// What `start.js` keeps of the browser's offer to install the app.
fn install_offer() -> Option<JsValue> {
    Reflect::get(&window()?.into(), &"witnessmarkInstall".into()).ok().filter(JsValue::is_object)
}

/// Does the browser offer to install the app?
pub fn can_install() -> bool {
    install_offer().is_some()
}

/// Lets the browser ask the person; what they answer is between the two.
pub async fn install() {
    let asked = || {
        let offer = install_offer()?;
        let prompt: Function = Reflect::get(&offer, &"prompt".into()).ok()?.dyn_into().ok()?;
        prompt.call0(&offer).ok()?.dyn_into::<Promise>().ok()
    };
    if let Some(asked) = asked() {
        let _ = JsFuture::from(asked).await;
    }
}

/// Lets the waiting version in; the page reloads once it is in charge.
pub fn take_over() {
    tell(TAKE_OVER, None);
}

type Work = Pin<Box<dyn Future<Output = ()>>>;

/// Runs `work` while no other tab of ours holds the lock of this name, nor another caller here. A browser without such
/// locks runs it at once.
pub async fn with_lock<T: 'static>(name: &str, work: impl Future<Output = T> + 'static) -> T {
    let result = Rc::new(RefCell::new(None));
    let into = Rc::clone(&result);
    let mut left = under_lock(
        name,
        Box::pin(async move {
            let value = work.await;
            into.replace(Some(value));
        }),
    )
    .await;
    loop {
        if let Some(value) = result.take() {
            return value;
        }
        // The lock could not be had at all; what must be done is done without it.
        if let Some(work) = left.take() {
            work.await;
        } else {
            std::future::pending::<()>().await;
        }
    }
}

/// Gives the work back if it was never begun.
async fn under_lock(name: &str, work: Work) -> Option<Work> {
    let Some((locks, request)) = lock_manager() else { return Some(work) };
    let slot = Rc::new(RefCell::new(Some(work)));
    let taken = Rc::clone(&slot);
    let begin = Closure::once_into_js(move |_lock: JsValue| -> Promise {
        let work = taken.take();
        future_to_promise(async move {
            if let Some(work) = work {
                work.await;
            }
            Ok(JsValue::UNDEFINED)
        })
    });
    if let Ok(promise) = request.call2(&locks, &name.into(), &begin) {
        let _ = JsFuture::from(Promise::from(promise)).await;
    }
    slot.take()
}

/// `navigator.locks`, by hand: `web_sys` has it only behind a compiler flag.
fn lock_manager() -> Option<(JsValue, Function)> {
    let navigator = window()?.navigator();
    let locks = Reflect::get(&navigator, &"locks".into()).ok().filter(JsValue::is_object)?;
    let request = Reflect::get(&locks, &"request".into()).ok()?.dyn_into::<Function>().ok()?;
    Some((locks, request))
}
