//! A stream with two holders: the codec, which takes frames from it, and the line, which has to
//! listen beside the codec to know when everybody is quiet. Never in here: what the bytes mean.

use crate::clock::monotonic;
use std::io;
use std::pin::Pin;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::task::{Context, Poll};
use std::time::Duration;
use tokio::io::{AsyncRead, AsyncReadExt, AsyncWrite, ReadBuf};
use tokio::time::{timeout, timeout_at};

/// What carries bytes both ways.
pub trait Carrier: AsyncRead + AsyncWrite + Send + Unpin + std::fmt::Debug + 'static {}

impl<S: AsyncRead + AsyncWrite + Send + Unpin + std::fmt::Debug + 'static> Carrier for S {}

/// Clones share the stream; only one of them reads at a time.
#[derive(Debug, Clone)]
pub(super) struct SharedStream {
    carrier: Arc<Mutex<Box<dyn Carrier>>>,
    /// Bytes that have been read, by whichever holder; wraps.
    taken: Arc<AtomicUsize>,
}

/// How listening to a stream ended.
#[derive(Debug)]
pub(super) enum Heard {
    /// Nothing came for as long as was wanted; so many bytes before that.
    Quiet(usize),
    /// Somebody talks on and on.
    Babble,
    /// The stream has ended or is broken.
    Gone,
}

impl SharedStream {
    pub(super) fn new(carrier: impl Carrier) -> Self {
        Self {
            carrier: Arc::new(Mutex::new(Box::new(carrier))),
            taken: Arc::default(),
        }
    }

    /// How many bytes have been read so far; only differences mean something.
    pub(super) fn taken(&self) -> usize {
        self.taken.load(Ordering::Relaxed)
    }

    /// Throws away whatever comes until nothing has come for `quiet`, at most for `longest`.
    pub(super) async fn drain(&mut self, quiet: Duration, longest: Duration) -> Heard {
        let end = monotonic() + longest;
        let mut bytes = [0; 256];
        let mut count = 0;
        loop {
            match timeout_at(end, timeout(quiet, self.read(&mut bytes))).await {
                Ok(Err(_)) => return Heard::Quiet(count),
                Ok(Ok(Ok(n))) if n > 0 => count += n,
                Ok(Ok(_)) => return Heard::Gone,
                Err(_) => return Heard::Babble,
            }
        }
    }

    /// The lock is held inside one call of the runtime only, never while waiting.
    fn carrier(&self) -> MutexGuard<'_, Box<dyn Carrier>> {
        self.carrier.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

impl AsyncRead for SharedStream {
    fn poll_read(
        self: Pin<&mut Self>,
        context: &mut Context<'_>,
        buffer: &mut ReadBuf<'_>,
    ) -> Poll<io::Result<()>> {
        let before = buffer.filled().len();
        let polled = Pin::new(&mut *self.carrier()).poll_read(context, buffer);
        let taken = buffer.filled().len() - before;
        self.taken.fetch_add(taken, Ordering::Relaxed);
        polled
    }
}

impl AsyncWrite for SharedStream {
    fn poll_write(
        self: Pin<&mut Self>,
        context: &mut Context<'_>,
        bytes: &[u8],
    ) -> Poll<io::Result<usize>> {
        Pin::new(&mut *self.carrier()).poll_write(context, bytes)
    }

    fn poll_flush(self: Pin<&mut Self>, context: &mut Context<'_>) -> Poll<io::Result<()>> {
        Pin::new(&mut *self.carrier()).poll_flush(context)
    }

    fn poll_shutdown(self: Pin<&mut Self>, context: &mut Context<'_>) -> Poll<io::Result<()>> {
        Pin::new(&mut *self.carrier()).poll_shutdown(context)
    }
}
