//! From suspicions to findings: ranked causes, advice, cautions. Work in progress.

mod finding;
pub use finding::{Cause, Evidence, Finding, FindingId, Subject};
