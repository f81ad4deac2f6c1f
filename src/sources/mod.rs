//! Where samples come from: the serial box, and whatever stands in for it.
//!
//! Every source is a stream of bytes, and every stream is read by the same decoder:
//!
//! ```text
//! serial port, standard input,   bytes    decoder   lines -> sentences -> sequence   events
//! replayed log, model box      -------->            (framing, checksums, counters)  ------->
//! ```

pub mod decoder;
pub mod event;
pub mod inside;
pub mod link;
pub mod listener;
pub mod model_box;
mod number_lines;
pub mod paced;
pub mod ports;
pub mod replay;
mod sequence;
pub mod serial;
pub mod wire;
