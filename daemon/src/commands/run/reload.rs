//! Reading the site file again while the daemon runs: all that would keep a start from succeeding is
//! tried first, so that a wrong file costs nothing.
//! Never in here: ending what runs.

use super::opened;
use crate::web::{Door, Listening};
use analysis::engine::Engine;
use config::checked::SiteFile;
use std::path::Path;
use std::sync::Arc;
use tracing::{error, info};

/// The site as its file says now, with the door of its page; `None` after it was said what is wrong.
pub(super) async fn reload(
    file: &Path,
    folder: &Path,
    before: Option<Listening>,
) -> Option<(SiteFile, Option<Door>)> {
    let wrong = |problem: &str| {
        error!(%problem, "the site file is not taken; work goes on with what it said before");
    };
    let site = match config::load(file) {
        Ok(site) => site,
        Err(errors) => {
            errors.to_string().lines().for_each(wrong);
            return None;
        }
    };
    if let Err(problem) = Engine::new(Arc::new(site.plant.clone())) {
        wrong(&problem.to_string());
        return None;
    }
    match opened(&site, folder, before).await {
        Ok(door) => {
            info!(file = %file.display(), "the site file is read again");
            Some((site, door))
        }
        Err(problem) => {
            wrong(&problem.to_string());
            None
        }
    }
}
