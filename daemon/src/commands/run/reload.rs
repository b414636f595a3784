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
use std::time::Duration;
use tokio::time::timeout;
use tracing::{error, info};

/// So long what waits may take to be stored; a step takes a second at most when all is well (judgement).
const STORED_WITHIN: Duration = Duration::from_secs(60);

/// A site with the door of its page.
type Site = (SiteFile, Option<Door>);

/// The site that was read, once all that waited is stored: it would end with the work. `None` after it
/// was said that the store refuses, or takes too long.
pub(super) async fn stored(read: Option<Site>, ask: &Ask) -> Option<Site> {
    let site = read?;
    match timeout(STORED_WITHIN, ask.stored()).await {
        Ok(true) => return Some(site),
        Ok(false) => error!(
            "the site file is right and not taken: the store refuses what waits, which would be \
             lost; let it be read again when there is room"
        ),
        Err(_) => error!(
            within_s = STORED_WITHIN.as_secs(),
            "the site file is right and not taken: what waits is not stored yet and would be lost; \
             let it be read again when the disk has less to do"
        ),
    }
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::desk;

    /// A disk that hangs holds up the file, not whoever wants something else meanwhile.
    #[tokio::test(start_paused = true)]
    async fn a_desk_that_does_not_answer_is_waited_for_so_long_and_no_longer() {
        let text = include_str!("../../../../config/sites/quince-row-dairy.toml");
        let site = config::parse("an example", text, Path::new("")).expect("it is right");
        let (ask, _asked) = desk::ask();
        let begun = crate::clock::monotonic();
        assert!(stored(Some((site, None)), &ask).await.is_none());
        assert_eq!(begun.elapsed().as_secs(), STORED_WITHIN.as_secs());
    }
}
