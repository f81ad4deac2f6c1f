//! Properties of air: the standard atmosphere and compressible flow through an opening.
