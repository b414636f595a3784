//! Tells browsers when something has changed, so that they fetch it: server-sent events.
//! Never in here: what has changed; the pages show it.

use super::Page;
use super::page::message;
use axum::extract::State;
use axum::http::StatusCode;
use axum::response::sse::{Event, KeepAlive, Sse};
use axum::response::{IntoResponse, Response};
use futures_util::stream;
use std::convert::Infallible;
use std::sync::Arc;
use std::time::Duration;

/// Browsers at a time; others see the page as it was when they opened it.
pub const MOST: usize = 24;
/// Not told more often than this: each time costs a page.
const AT_MOST_EVERY: Duration = Duration::from_secs(5);
/// Browsers wait so long before they come again.
const RETRY: Duration = Duration::from_secs(10);

/// A stream of changes.
pub async fn changes(State(page): State<Arc<Page>>) -> Response {
    let Ok(place) = page.live.clone().try_acquire_owned() else {
        return message::refused(&page, StatusCode::SERVICE_UNAVAILABLE, true);
    };
    let heard = page.latest.changes();
    // The first event goes out at once: it tells the browser how long to wait before it comes again.
    let changes = stream::unfold(
        (heard, place, true),
        |(mut heard, place, is_first)| async move {
            if !is_first {
                tokio::time::sleep(AT_MOST_EVERY).await;
                heard.changed().await.ok()?;
            }
            let number = *heard.borrow_and_update();
            let name = if is_first { "hello" } else { "change" };
            let event = Event::default()
                .event(name)
                .retry(RETRY)
                .data(number.to_string());
            Some((Ok::<_, Infallible>(event), (heard, place, false)))
        },
    );
    Sse::new(changes)
        .keep_alive(KeepAlive::default())
        .into_response()
}
