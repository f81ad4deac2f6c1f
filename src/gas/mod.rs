//! Properties of air: the standard atmosphere and compressible flow through an opening.
//!
//! Plain numbers in SI units in, plain numbers out: this room knows nothing of engines.

pub mod atmosphere;
pub mod orifice;
