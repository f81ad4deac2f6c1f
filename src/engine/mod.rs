//! A physical model of an engine with two carburettors.
