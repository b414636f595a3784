//! What the system tells the program to do.
//! Never in here: doing it.

/// What is to be done.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Order {
    /// End, in order.
    Stop,
    /// Read the site file again.
    Reload,
}

/// Orders of the system: SIGTERM and SIGINT stop, SIGHUP reloads.
#[cfg(unix)]
#[derive(Debug)]
pub struct Orders {
    interrupt: tokio::signal::unix::Signal,
    terminate: tokio::signal::unix::Signal,
    hang_up: tokio::signal::unix::Signal,
}

#[cfg(unix)]
impl Orders {
    /// Listens from the call on, so that nothing is missed before somebody waits.
    pub fn listen() -> Self {
        use tokio::signal::unix::{SignalKind, signal};
        let listen = |kind| signal(kind).expect("these signals can be listened to");
        Self {
            interrupt: listen(SignalKind::interrupt()),
            terminate: listen(SignalKind::terminate()),
            hang_up: listen(SignalKind::hangup()),
        }
    }

    /// The next one; many of a kind that nobody has waited for are one.
    pub async fn next(&mut self) -> Order {
        tokio::select! {
            // Whoever wants both wants an end.
            biased;
            _ = self.interrupt.recv() => Order::Stop,
            _ = self.terminate.recv() => Order::Stop,
            _ = self.hang_up.recv() => Order::Reload,
        }
    }

    /// The next one to stop; those to reload are left for [`Self::next`].
    pub async fn stop(&mut self) {
        tokio::select! {
            _ = self.interrupt.recv() => (),
            _ = self.terminate.recv() => (),
        }
    }
}

/// Orders of the system: only to stop.
#[cfg(not(unix))]
#[derive(Debug)]
pub struct Orders;

#[cfg(not(unix))]
impl Orders {
    /// Listens.
    pub fn listen() -> Self {
        Self
    }

    /// The next one.
    pub async fn next(&mut self) -> Order {
        tokio::signal::ctrl_c()
            .await
            .expect("the signal can be listened to");
        Order::Stop
    }

    /// The next one to stop.
    pub async fn stop(&mut self) {
        self.next().await;
    }
}
