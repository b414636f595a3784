//! Noonmark.

fn main() {}
