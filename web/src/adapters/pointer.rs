//! Where a finger is inside the element that it draws on.

use leptos::ev::PointerEvent;
use wasm_bindgen::JsCast;
use web_sys::Element;

fn target(event: &PointerEvent) -> Option<Element> {
    event.current_target()?.dyn_into().ok()
}

/// The point of an event in an element that is `size` points wide and high, whatever it measures on the screen.
#[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "held inside the field first")]
pub fn at_in(event: &PointerEvent, size: (u16, u16)) -> Option<(u16, u16)> {
    let field = target(event)?.get_bounding_client_rect();
    if field.width() <= 0.0 || field.height() <= 0.0 {
        return None;
    }
    let along = |at: f64, from: f64, length: f64, points: u16| {
        ((at - from) / length * f64::from(points)).clamp(0.0, f64::from(points)) as u16
    };
    let x = along(f64::from(event.client_x()), field.left(), field.width(), size.0);
    let y = along(f64::from(event.client_y()), field.top(), field.height(), size.1);
    Some((x, y))
}

/// A finger that leaves the field still draws on it, and its leaving is heard.
pub fn capture(event: &PointerEvent) {
    if let Some(target) = target(event) {
        // Refused for a pointer that is gone already: then there is nothing to follow.
        let _ = target.set_pointer_capture(event.pointer_id());
    }
}
