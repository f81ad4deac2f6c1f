//! Lessons on the model engine: their logs against what was true.
#![allow(clippy::unwrap_used, reason = "a test that cannot go on should fail")]

mod classroom;
mod judged;
#[path = "../live/requests.rs"]
#[allow(dead_code, reason = "the client of the page's own tests says more than these want")]
mod requests;
mod served;
mod told;
