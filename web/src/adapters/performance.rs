//! The browser's own timeline: a benchmark reads there how long a piece of work took.

use js_sys::{Function, Object, Reflect};
use wasm_bindgen::{JsCast, JsValue};

/// Runs `work` and notes under `name` when it began and ended.
pub fn measured<T>(name: &str, work: impl FnOnce() -> T) -> T {
    let timeline = web_sys::window().and_then(|window| window.performance());
    let begun = timeline.as_ref().map(web_sys::Performance::now);
    let result = work();
    if let (Some(timeline), Some(begun)) = (timeline, begun) {
        note(&timeline, name, begun);
    }
    result
}

/// Browsers that know no measures go without. By hand: the typed call would bring a class that nothing else uses.
fn note(timeline: &web_sys::Performance, name: &str, begun: f64) {
    let options = Object::new();
    let _ = Reflect::set(&options, &"start".into(), &begun.into());
    let _ = Reflect::set(&options, &"end".into(), &timeline.now().into());
    let measure = Reflect::get(timeline, &"measure".into()).ok().and_then(|found| found.dyn_into::<Function>().ok());
    if let Some(measure) = measure {
        let _ = measure.call2(timeline, &JsValue::from_str(name), &options);
    }
}
