//! What a lesson writes and shows.
