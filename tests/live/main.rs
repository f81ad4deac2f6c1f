//! The page's server over real sockets, without a browser: who is let in, who is dropped, what arrives.

#![allow(clippy::unwrap_used, reason = "a test that cannot go on should fail")]

mod crowds;
mod doors;
mod figures;
mod marks;
mod requests;
mod states;
