//! Pictures of finished findings.
