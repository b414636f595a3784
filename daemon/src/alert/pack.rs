//! A letter packed as a message: text, page and picture, in the thread of what was told before.
//! Never in here: words.

use super::letter::Letter;
use analysis::reading::Time;
use lettre::message::header::{self, Header, HeaderName, HeaderValue};
use lettre::message::{Attachment, Mailbox, Message, MultiPart, SinglePart};
use std::time::{Duration, UNIX_EPOCH};
use thiserror::Error;

/// Why a mail cannot be packed. Messages read after "failed to".
#[derive(Debug, Error)]
pub enum PackError {
    /// The parts do not make a message.
    #[error("pack a mail: {0}")]
    Message(#[from] lettre::error::Error),
    /// An address that the mail library does not take.
    #[error("pack a mail to {address}: {source}")]
    Address {
        /// The address.
        address: String,
        /// Why.
        source: lettre::address::AddressError,
    },
}

/// What stands on a mail.
#[derive(Debug)]
pub struct Envelope<'a> {
    /// Name and address of the sender.
    pub from: (String, &'a str),
    /// Name and address of the reader.
    pub to: (String, &'a str),
    /// By which readers' programs know it.
    pub message_id: String,
    /// Message-IDs of the mails that told first of what is in it.
    pub threads: Vec<String>,
    /// When it leaves.
    pub now: Time,
}

/// Packs a letter with its picture, a PNG, if it has one.
///
/// # Errors
/// If the mail library takes an address or the parts for wrong.
pub fn pack(
    letter: &Letter,
    picture: Option<Vec<u8>>,
    envelope: Envelope<'_>,
) -> Result<Message, PackError> {
    let since_1970 = Duration::from_millis(envelope.now.unix_ms().max(0).unsigned_abs());
    let mut message = Message::builder()
        .from(mailbox(envelope.from)?)
        .to(mailbox(envelope.to)?)
        .subject(&letter.subject)
        .message_id(Some(envelope.message_id))
        .date(UNIX_EPOCH + since_1970)
        .header(AutoSubmitted);
    if let Some(last) = envelope.threads.last() {
        let all = envelope.threads.join(" ");
        message = message.in_reply_to(last.clone()).references(all);
    }
    let html = SinglePart::html(letter.html.clone());
    let shown = match picture {
        None => MultiPart::related().singlepart(html),
        Some(png) => {
            let kind = header::ContentType::parse("image/png").expect("a media type");
            let picture = Attachment::new_inline("chart".to_owned()).body(png, kind);
            MultiPart::related().singlepart(html).singlepart(picture)
        }
    };
    let text = SinglePart::plain(letter.text.clone());
    Ok(message.multipart(MultiPart::alternative().singlepart(text).multipart(shown))?)
}

/// No other mail has the same: a reader gets one of each sort at a time.
pub fn message_id(now: Time, reader: usize, sort: &str, from: &str) -> String {
    let domain = from
        .rsplit_once('@')
        .map_or("localhost", |(_, domain)| domain);
    format!("<{}.{reader}.{sort}@{domain}>", now.unix_ms())
}

fn mailbox((name, address): (String, &str)) -> Result<Mailbox, PackError> {
    match address.parse() {
        Ok(parsed) => Ok(Mailbox::new(Some(name), parsed)),
        Err(source) => Err(PackError::Address {
            address: address.to_owned(),
            source,
        }),
    }
}

/// RFC 3834: no machine answers to this.
#[derive(Clone)]
struct AutoSubmitted;

impl Header for AutoSubmitted {
    fn name() -> HeaderName {
        HeaderName::new_from_ascii_str("Auto-Submitted")
    }

    fn parse(_: &str) -> Result<Self, Box<dyn std::error::Error + Send + Sync>> {
        Ok(Self)
    }

    fn display(&self) -> HeaderValue {
        HeaderValue::new(Self::name(), "auto-generated".to_owned())
    }
}
