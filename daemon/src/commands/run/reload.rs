//! Reading the site file again while the daemon runs: all that would keep a start from succeeding is
//! tried first, so that a wrong file costs nothing.
//! Never in here: ending what runs.

use super::opened;
use crate::desk::Ask;
use crate::web::{Door, Listening};
use analysis::engine::Engine;
use config::checked::SiteFile;
use std::path::Path;
use std::sync::Arc;
use tracing::{error, info};

/// A site with the door of its page.
type Site = (SiteFile, Option<Door>);

/// The site that was read, once all that waited is stored: it would end with the work. `None` after it
/// was said that the store refuses.
pub(super) async fn stored(read: Option<Site>, ask: &Ask) -> Option<Site> {
    let site = read?;
    if ask.stored().await {
        return Some(site);
    }
    error!(
        "the site file is right and not taken: the store refuses what waits, which would be lost; \
         let it be read again when there is room"
    );
    None
}

/// The site as its file says now; `None` after it was said what is wrong.
pub(super) async fn reload(file: &Path, folder: &Path, before: Option<Listening>) -> Option<Site> {
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
