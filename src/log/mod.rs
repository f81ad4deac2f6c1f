//! From bytes to columns of samples.
