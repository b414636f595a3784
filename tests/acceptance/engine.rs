//! The engine as a whole, over a synthetic plant and real recordings: how readings are delivered
//! changes nothing, and each detector by its operating curve.
//! Kind of truth: property. What the synthetic plant does is known because it was made so; the
//! physics it shares with the engine is compared with other people's numbers in tests/reference.

#[path = "engine/array.rs"]
mod array;
#[path = "engine/calibration.rs"]
mod calibration;
#[path = "engine/delivery.rs"]
mod delivery;
#[path = "engine/drive.rs"]
mod drive;
#[path = "engine/efficiency.rs"]
mod efficiency;
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
#[path = "engine/inverter_delivery.rs"]
mod inverter_delivery;
#[path = "engine/inverter_health.rs"]
mod inverter_health;
#[path = "engine/isolation.rs"]
mod isolation;
#[path = "engine/isolation_falling.rs"]
mod isolation_falling;
#[path = "engine/ledger.rs"]
mod ledger;
#[path = "engine/limited_day.rs"]
mod limited_day;
#[path = "engine/limited_days.rs"]
mod limited_days;
#[path = "engine/limits.rs"]
mod limits;
#[path = "engine/links.rs"]
mod links;
#[path = "engine/lone_input.rs"]
mod lone_input;
#[path = "engine/measuring.rs"]
mod measuring;
#[path = "engine/off_peak.rs"]
mod off_peak;
#[path = "engine/performance.rs"]
mod performance;
#[path = "engine/protection.rs"]
mod protection;
#[path = "engine/recordings.rs"]
mod recordings;
#[path = "engine/resume.rs"]
mod resume;
#[path = "engine/scenario.rs"]
mod scenario;
#[path = "engine/sensors.rs"]
mod sensors;
#[path = "engine/settings.rs"]
mod settings;
#[path = "engine/shade.rs"]
mod shade;
#[path = "engine/soiling.rs"]
mod soiling;
#[path = "engine/standstill.rs"]
mod standstill;
#[path = "engine/strings.rs"]
mod strings;
#[path = "engine/supply.rs"]
mod supply;
#[path = "engine/trips.rs"]
mod trips;
#[path = "engine/wiring.rs"]
mod wiring;
