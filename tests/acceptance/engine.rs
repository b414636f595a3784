//! The engine as a whole, over a synthetic plant and real recordings: how readings are delivered
//! changes nothing, and each detector by its operating curve.
//! Kind of truth: property. What the synthetic plant does is known because it was made so; the
//! physics it shares with the engine is compared with other people's numbers in tests/reference.

#[path = "engine/calibration.rs"]
mod calibration;
#[path = "engine/delivery.rs"]
mod delivery;
#[path = "engine/drive.rs"]
mod drive;
#[path = "engine/export.rs"]
mod export;
#[path = "engine/export_site.rs"]
mod export_site;
#[path = "engine/facing.rs"]
mod facing;
#[path = "engine/health.rs"]
mod health;
#[path = "engine/inputs.rs"]
mod inputs;
#[path = "engine/isolation.rs"]
mod isolation;
#[path = "engine/isolation_falling.rs"]
mod isolation_falling;
#[path = "engine/ledger.rs"]
mod ledger;
#[path = "engine/limited_day.rs"]
mod limited_day;
#[path = "engine/limits.rs"]
mod limits;
#[path = "engine/links.rs"]
mod links;
#[path = "engine/recordings.rs"]
mod recordings;
#[path = "engine/resume.rs"]
mod resume;
#[path = "engine/scenario.rs"]
mod scenario;
#[path = "engine/sensors.rs"]
mod sensors;
#[path = "engine/shade.rs"]
mod shade;
#[path = "engine/soiling.rs"]
mod soiling;
#[path = "engine/standstill.rs"]
mod standstill;
#[path = "engine/supply.rs"]
mod supply;
#[path = "engine/trips.rs"]
mod trips;
