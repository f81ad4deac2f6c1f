//! Airflow meters on a simulated pair of carburettors. The simulation makes flows, stroke by stroke, and
//! from them what the meters read; the truth is the ratio of the mean flows, which no reading knows.

#![allow(clippy::unwrap_used, reason = "a test that cannot go on should fail")]

mod scene;
mod tables;
mod verdicts;
