//! The three ways out: mail, HTTP, a broker.
//! Never in here: how each of them works.

use super::announcement::{Announcement, AnnouncementError};
use super::announcer::{AnnounceError, Announcer};
use super::compose::ComposeError;
use super::sender::AtStore;
use super::smtp::{Postman, SendError};
use super::webhook::{CallError, Caller};
use crate::clock::Clock;
use crate::store::{Delivery, StoreError, Target};
use analysis::reading::{Span, Time};
use thiserror::Error;

/// Whoever takes something to its target.
#[derive(Debug)]
pub enum Courier {
    /// Mails, to every reader.
    Mail(Box<Postman>),
    /// To one program.
    Webhook(Caller),
    /// To the broker.
    Mqtt(Announcer),
}

/// Why something has not left. Messages read after "failed to".
#[derive(Debug, Error)]
pub enum CarryError {
    /// A mail.
    #[error(transparent)]
    Mail(#[from] SendError),
    /// A call.
    #[error(transparent)]
    Webhook(#[from] CallError),
    /// A message.
    #[error(transparent)]
    Mqtt(#[from] AnnounceError),
    /// What it tells cannot be read or written down.
    #[error(transparent)]
    Announcement(#[from] AnnouncementError),
    /// The store cannot be read.
    #[error(transparent)]
    Store(#[from] StoreError),
}

impl CarryError {
    /// Whether it is no use to try again.
    pub fn is_final(&self) -> bool {
        match self {
            Self::Mail(SendError::Compose(ComposeError::NoReader { .. })) => true,
            Self::Webhook(error) => error.is_final(),
            Self::Mail(_) | Self::Mqtt(_) | Self::Announcement(_) | Self::Store(_) => false,
        }
    }

    /// How long the target wants to be left alone, if it says so.
    pub fn asks_to_wait(&self) -> Option<Span> {
        match self {
            Self::Webhook(error) => error.asks_to_wait(),
            Self::Mail(_) | Self::Mqtt(_) | Self::Announcement(_) | Self::Store(_) => None,
        }
    }
}

impl Courier {
    /// Starts what stays open for years, where something does.
    pub fn start(&mut self, at_store: &AtStore, clock: Clock) {
        if let Self::Mqtt(announcer) = self {
            announcer.start(at_store.clone(), clock);
        }
    }

    /// Whether it goes to this target.
    pub fn takes(&self, target: &Target) -> bool {
        match (self, target) {
            (Self::Mail(_), Target::Mail(_)) | (Self::Mqtt(_), Target::Mqtt) => true,
            (Self::Webhook(caller), Target::Webhook(id)) => caller.webhook.id == *id,
            _ => false,
        }
    }

    /// Takes it there.
    ///
    /// # Errors
    /// If it was not taken.
    pub async fn carry(
        &mut self,
        at_store: &AtStore,
        delivery: &Delivery,
        now: Time,
    ) -> Result<(), CarryError> {
        match self {
            Self::Mail(postman) => Ok(postman.carry(at_store, delivery, now).await?),
            Self::Webhook(caller) => {
                let told = announcement(at_store, delivery).await?;
                Ok(caller.carry(told, now).await?)
            }
            Self::Mqtt(announcer) => {
                let told = announcement(at_store, delivery).await?;
                Ok(announcer.carry(told).await?)
            }
        }
    }
}

async fn announcement(
    at_store: &AtStore,
    delivery: &Delivery,
) -> Result<Announcement, AnnouncementError> {
    let (id, plant) = (delivery.id, at_store.plant.clone());
    at_store
        .with(move |store| Announcement::of(id, store, &plant.site))
        .await
}
