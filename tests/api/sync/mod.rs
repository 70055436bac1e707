//! Push, pull, positions and what is projected from them.

mod lines;
mod packed;
mod positions;
mod projection;
mod pull;
mod push;
