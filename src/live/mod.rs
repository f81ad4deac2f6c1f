//! The page of a recording that runs, and its server.
//!
//! ```text
//! recorder --publish--> hub --> a queue a page --> server-sent events --> page
//!    ^                                                                     |
//!    \------------- presses <------------ POST /press <--------------------/
//! ```
//!
//! The recorder never waits for a page: [`Hub::publish`] puts a frame into the queues and drops whoever
//! has not emptied his. The server has a thread and a runtime of its own. The frames go by server-sent
//! events and not by a web socket: they go one way only, the browser connects again by itself, and what is
//! pressed is a plain POST, which every check of HTTP applies to.
//!
//! [`so_far`] judges, [`sentence`] says what to do, [`trace`] and [`tones`] make what is seen and heard;
//! the page itself only draws. [`lesson`] is what the page of a lesson shows besides.

pub mod codes;
mod connections;
pub mod frame;
mod guard;
mod hub;
pub mod lesson;
mod presses;
mod routes;
pub mod sentence;
mod server;
pub mod so_far;
pub mod tones;
pub mod trace;

pub use hub::Hub;
pub use presses::{Press, Pressed};
pub use server::{Address, ServeError, Served, Settings, serve};
