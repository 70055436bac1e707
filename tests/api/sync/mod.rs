//! Push, pull, positions and what is projected from them.

mod positions;
mod projection;
mod pull;
mod push;
