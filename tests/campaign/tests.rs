//! The fault campaign's own tests: its physics beside other people's numbers, its statistics beside
//! printed tables, and a small seeded part of it.
//! Never in here: what the whole campaign says; that is a report.

mod curves;
mod light;
mod small;
mod statistics;
mod work;
