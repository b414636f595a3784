//! The daemon.
