//! The reference firmware of `firmware-notes/firmware`, run for real in a simulated microcontroller.
//!
//! `simulated_box.c` plays voltages and ignition edges into the chip and puts its UART on a
//! pseudo-terminal; what leaves the UART is counted there, before anybody reads it. Voltages and
//! edges come from the model engine by the sensor's data sheet, written out in `drive.rs`. Where
//! avr-gcc or simavr is missing the tests say so aloud and pass; with
//! `EVENBREATH_FIRMWARE_REQUIRED` set, as `.ci/run` does, they fail instead.

#![allow(clippy::unwrap_used, reason = "a test that cannot go on should fail")]

mod commands;
mod drive;
mod faults;
mod heard;
mod recorded;
mod samples;
mod workshop;
