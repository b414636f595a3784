//! The fault campaign: plants that do not exist, drawn at random, with faults of random size and
//! time, and how often, how soon and how rightly the engine speaks of them.
//!
//! The twin shares nothing with the program's own model of light and arrays (`analysis::sky`,
//! `analysis::array`, `analysis::expected`): its sun, sky, clouds, glass, spectrum, heat and curves
//! are other models, so that what the engine takes for granted is not built into what it is shown.
//! Shared are the plain facts of a plant (`analysis::plant`), channels and readings.
//! Never in here: thresholds of the engine, and any allowance for what it happens to do.

mod chart;
mod clouds;
mod crowd;
mod draw;
mod evident;
mod fault;
mod inject;
mod intervals;
mod inverter;
mod kinds;
mod plant_draw;
mod plant_facts;
mod report;
mod run;
mod score;
mod section_curve;
mod sensors;
mod sky;
mod string_curve;
mod sun;
mod supply;
mod tables;
mod truth;
mod twin;

pub use chart::detection_svg;
pub use clouds::{Clouds, Regime};
pub use crowd::{Campaign, Job, healthy_jobs, run_all};
pub use draw::Draw;
pub use fault::{Fault, draw_fault};
pub use inject::Act;
pub use intervals::{Between, poisson_95, share_95};
pub use inverter::Work;
pub use kinds::{Deadline, KINDS, KindRow, Scope, kind_row};
pub use plant_draw::{DrawnPlant, Options, draw_plant};
pub use report::{Ran, markdown};
pub use run::{Outcome, Show, draw, run, run_drawn};
pub use score::{Alarm, Reliability, Score, Scored, score};
pub use section_curve::{Datasheet, SectionModel};
pub use sky::{Air, Ground, clear_sky, diffuse_incidence, incidence, on_plane, spectrum};
pub use string_curve::{Curve, Group};
pub use sun::Sun;
pub use tables::{false_alarm_lines, run_lines};
pub use truth::{Sensing, Truth};
pub use twin::{Now, Twin};
