//! Site file to checked plant.
