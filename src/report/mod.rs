//! Text and JSON of a finding.
