//! Waiting for what a peer or the program does next.
//! Never in here: waiting for a time to pass. A deadline is only reached by something that hangs.

use std::time::{Duration, Instant};

/// Far longer than anything here takes on a busy machine.
pub const DEADLINE: Duration = Duration::from_secs(180);
/// From one look to the next.
const PAUSE: Duration = Duration::from_millis(50);

/// What `look` sees, as soon as it sees something. Panics with `what` at the deadline.
pub fn until<T>(what: &str, mut look: impl FnMut() -> Option<T>) -> T {
    let began = Instant::now();
    loop {
        if let Some(seen) = look() {
            return seen;
        }
        let waited = began.elapsed();
        assert!(waited < DEADLINE, "no {what} after {waited:?}");
        std::thread::sleep(PAUSE);
    }
}
