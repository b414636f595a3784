//! A view that many look at, made once a second at most: however many ask, the store is read once.
//! Never in here: what is viewed.

use crate::clock::monotonic;
use std::future::Future;
use std::sync::Arc;
use std::time::Duration;
use tokio::sync::Mutex;
use tokio::time::Instant;

/// Older than this it is made anew (judgement: less than anybody waits for a page).
const KEPT_FOR: Duration = Duration::from_secs(1);

/// The view and when it was made.
#[derive(Debug)]
pub struct Shared<T>(Mutex<Option<(Instant, Arc<T>)>>);

impl<T> Default for Shared<T> {
    fn default() -> Self {
        Self(Mutex::default())
    }
}

impl<T> Shared<T> {
    /// As it was less than a second ago, or else as `make` makes it; others wait for it meanwhile.
    ///
    /// # Errors
    /// Those of `make`; nothing is kept then.
    pub async fn get<E>(&self, make: impl Future<Output = Result<T, E>>) -> Result<Arc<T>, E> {
        let mut kept = self.0.lock().await;
        if let Some((made, view)) = kept.as_ref()
            && monotonic().duration_since(*made) < KEPT_FOR
        {
            return Ok(view.clone());
        }
        let made = monotonic();
        let view = Arc::new(make.await?);
        *kept = Some((made, view.clone()));
        Ok(view)
    }

    /// Gives it up: something has changed that whoever changed it wants to see.
    pub async fn forget(&self) {
        *self.0.lock().await = None;
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::sync::atomic::{AtomicU32, Ordering};

    #[tokio::test]
    async fn many_who_ask_at_once_have_it_made_once() {
        let (shared, made) = (Shared::default(), AtomicU32::new(0));
        let make = || async {
            tokio::task::yield_now().await;
            Ok::<_, ()>(made.fetch_add(1, Ordering::Relaxed))
        };
        let (a, b) = tokio::join!(shared.get(make()), shared.get(make()));
        assert_eq!((a.map(|a| *a), b.map(|b| *b)), (Ok(0), Ok(0)));
        shared.forget().await;
        assert_eq!(shared.get(make()).await.map(|c| *c), Ok(1));
        let failed = Shared::<u32>::default();
        assert!(failed.get(async { Err::<u32, ()>(()) }).await.is_err());
        assert_eq!(
            failed.get(make()).await.map(|d| *d),
            Ok(2),
            "an error is not kept"
        );
    }
}
