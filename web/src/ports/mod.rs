//! What the app needs from outside, as traits and plain data: a store, a way to the server, keys, a clock, chance, a camera.
//!
//! **Never enters:** a browser type. [`crate::adapters`] fulfils these in the browser and, in memory, for tests.

pub mod camera;
pub mod clock;
pub mod local_store;
pub mod sealer;
pub mod signer;
pub mod transport;

use core::future::Future;
use core::pin::Pin;

/// A future of one thread: browser futures are never sent anywhere.
pub type Later<'a, T> = Pin<Box<dyn Future<Output = T> + 'a>>;
