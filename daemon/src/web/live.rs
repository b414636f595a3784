//! Tells browsers when something has changed, so that they fetch it: server-sent events.
//! Never in here: what has changed; the pages show it.

use super::Page;
use super::page::message;
use super::texts::ENGLISH;
use axum::extract::State;
use axum::http::StatusCode;
use axum::response::sse::{Event, KeepAlive, Sse};
use axum::response::{IntoResponse, Response};
use futures_util::stream;
use std::convert::Infallible;
use std::sync::Arc;
use std::time::Duration;
use tokio::sync::{OwnedSemaphorePermit, watch};

/// Browsers at a time; others see the page as it was when they opened it.
pub const MOST: usize = 64;
/// Not told more often than this: each time costs a page.
const AT_MOST_EVERY: Duration = Duration::from_secs(5);
/// Browsers wait so long before they come again.
const RETRY: Duration = Duration::from_secs(10);

/// A stream of changes.
pub async fn changes(State(page): State<Arc<Page>>) -> Response {
    let Ok(place) = page.live.clone().try_acquire_owned() else {
        return message::refused(&page, &ENGLISH, StatusCode::SERVICE_UNAVAILABLE, true);
    };
    let told = Told {
        heard: page.latest.changes(),
        closing: page.closing.subscribe(),
        is_new: true,
        _place: place,
    };
    Sse::new(stream::unfold(told, Told::next))
        .keep_alive(KeepAlive::default())
        .into_response()
}

/// A browser that is told.
struct Told {
    heard: watch::Receiver<u64>,
    closing: watch::Receiver<bool>,
    is_new: bool,
    _place: OwnedSemaphorePermit,
}

impl Told {
    /// The next event: the first at once, because it says how long to wait before coming again; none
    /// any more when the page ends.
    async fn next(mut self) -> Option<(Result<Event, Infallible>, Self)> {
        let name = if std::mem::take(&mut self.is_new) {
            "hello"
        } else {
            tokio::select! {
                _ = self.closing.wait_for(|is_closing| *is_closing) => return None,
                change = change(&mut self.heard) => change?,
            }
            "change"
        };
        let number = *self.heard.borrow_and_update();
        let event = Event::default().event(name).retry(RETRY);
        Some((Ok(event.data(number.to_string())), self))
    }
}

/// A change, and not too soon after the last; none any more if nothing can change.
async fn change(heard: &mut watch::Receiver<u64>) -> Option<()> {
    tokio::time::sleep(AT_MOST_EVERY).await;
    heard.changed().await.ok()
}
