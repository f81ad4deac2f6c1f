//! Where samples come from: the serial box. What is here listens and says what it hears.

pub mod ports;
pub mod wire;
