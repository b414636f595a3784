//! What several tests need: reference tables, comparison, peers.
