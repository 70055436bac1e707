//! One at a time: among the windows of this browser for sync, within this window for what needs much memory or is fetched once.

use core::future::Future;
use core::pin::Pin;
use core::task::{Context, Poll, Waker};
use js_sys::{Function, Promise, Reflect};
use std::cell::RefCell;
use std::collections::VecDeque;
use std::rc::Rc;
use std::thread::LocalKey;
use wasm_bindgen::prelude::*;
use wasm_bindgen_futures::{JsFuture, future_to_promise};

/// Does the work if no other window holds the lock of that name; `None` if one does. A browser without such locks does
/// the work: correctness never depends on the lock, since every message may be sent twice.
pub async fn if_free<T: 'static>(name: &str, work: impl Future<Output = T> + 'static) -> Option<T> {
    under(name, "ifAvailable", work).await
}

/// Takes the lock from whichever window holds it, and does the work. That window goes on with what it does; both may send the same.
pub async fn taken_over<T: 'static>(name: &str, work: impl Future<Output = T> + 'static) -> Option<T> {
    under(name, "steal", work).await
}

async fn under<T: 'static>(name: &str, how: &str, work: impl Future<Output = T> + 'static) -> Option<T> {
    let Some(locks) = lock_manager() else { return Some(work.await) };
    let result: Rc<RefCell<Option<T>>> = Rc::default();
    let into = Rc::clone(&result);
    let mut work = Some(async move {
        let value = work.await;
        into.replace(Some(value));
        Ok(JsValue::UNDEFINED)
    });
    let begun: Rc<RefCell<Option<Promise>>> = Rc::default();
    let note = Rc::clone(&begun);
    let begin = Closure::<dyn FnMut(JsValue) -> JsValue>::new(move |lock: JsValue| match work.take() {
        Some(work) if !lock.is_null() => {
            let promise = future_to_promise(work);
            note.replace(Some(promise.clone()));
            promise.into()
        }
        Some(_) | None => JsValue::UNDEFINED,
    });
    let options = js_sys::Object::new();
    Reflect::set(&options, &how.into(), &true.into()).ok()?;
    let request: Function = Reflect::get(&locks, &"request".into()).ok()?.dyn_into().ok()?;
    let held: Promise = request.call3(&locks, &name.into(), &options, begin.as_ref()).ok()?.dyn_into().ok()?;
    // Whether the lock was had is told by the result.
    let _ = JsFuture::from(held).await;
    drop(begin);
    // A lock that was taken over ends before the work does.
    let begun = begun.take();
    if let Some(begun) = begun {
        let _ = JsFuture::from(begun).await;
    }
    result.take()
}

fn lock_manager() -> Option<JsValue> {
    let navigator: JsValue = web_sys::window()?.navigator().into();
    Reflect::get(&navigator, &"locks".into()).ok().filter(|locks| locks.is_object())
}

#[derive(Default)]
struct Turns {
    taken: bool,
    waiting: VecDeque<Waker>,
}

type Queue = &'static LocalKey<RefCell<Turns>>;

thread_local! {
    static PREVIEWS: RefCell<Turns> = RefCell::default();
    static WORDS: RefCell<Turns> = RefCell::default();
}

struct Turn(Queue);

impl Future for Turn {
    type Output = Holder;
    fn poll(self: Pin<&mut Self>, context: &mut Context<'_>) -> Poll<Holder> {
        self.0.with_borrow_mut(|turns| {
            if turns.taken {
                turns.waiting.push_back(context.waker().clone());
                return Poll::Pending;
            }
            turns.taken = true;
            Poll::Ready(Holder(self.0))
        })
    }
}

struct Holder(Queue);

impl Drop for Holder {
    fn drop(&mut self) {
        // Everybody who waits is woken: one of them may have been given up meanwhile.
        let waiting = self.0.with_borrow_mut(|turns| {
            turns.taken = false;
            core::mem::take(&mut turns.waiting)
        });
        waiting.into_iter().for_each(Waker::wake);
    }
}

/// Does the work when no other picture is unpacked in this window.
pub async fn one_picture_at_a_time<T>(work: impl Future<Output = T>) -> T {
    let _holder = Turn(&PREVIEWS).await;
    work.await
}

/// Fetches words when no others are being fetched in this window: who waited finds what the other one brought.
pub async fn one_language_at_a_time<T>(work: impl Future<Output = T>) -> T {
    let _holder = Turn(&WORDS).await;
    work.await
}

#[cfg(test)]
mod tests {
    use super::*;
    use core::pin::pin;

    #[test]
    fn the_second_picture_waits_for_the_first() {
        let mut context = Context::from_waker(Waker::noop());
        let mut first = pin!(one_picture_at_a_time(core::future::pending::<()>()));
        assert!(first.as_mut().poll(&mut context).is_pending());
        let mut second = pin!(one_picture_at_a_time(async { 2 }));
        assert!(second.as_mut().poll(&mut context).is_pending());
        let third = {
            let mut third = Box::pin(one_picture_at_a_time(async { 3 }));
            assert!(third.as_mut().poll(&mut context).is_pending());
            third
        };
        drop(third);
        PREVIEWS.with_borrow_mut(|turns| turns.taken = false);
        assert_eq!(second.as_mut().poll(&mut context), Poll::Ready(2));
    }
}
