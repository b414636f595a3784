//! What can go wrong between a request and its answer, in three kinds that are retried, shown and
//! mailed differently. Never in here: what to do about it.

use std::fmt;
use std::io;
use std::time::Duration;
use thiserror::Error;

/// The three kinds of failure.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Trouble {
    /// Nothing came back, or the connection is gone: connect again.
    Link,
    /// The device answered with an exception code: the connection is good.
    Refused,
    /// Something came back that is not an answer to the request: connect and discover again.
    Undecodable,
}

/// What was asked for, for messages.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Request {
    /// Modbus function code, 1 to 4.
    pub function: u8,
    /// First bit or register, counted from 0 as in the protocol.
    pub first: u16,
    /// How many.
    pub count: u16,
}

impl fmt::Display for Request {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let what = match self.function {
            1 => "coils",
            2 => "discrete inputs",
            3 => "holding registers",
            _ => "input registers",
        };
        let last = u32::from(self.first) + u32::from(self.count).saturating_sub(1);
        write!(f, "read {what} {}-{last}", self.first)
    }
}

/// Why a request has no usable answer. Messages read after "failed to".
#[derive(Debug, Error)]
pub enum ModbusError {
    /// No connection was made.
    #[error("connect to {address}: {source}")]
    Connect {
        /// Host and port.
        address: String,
        /// What the operating system said.
        source: io::Error,
    },
    /// No connection was made in time.
    #[error("connect to {address} within {} ms", within.as_millis())]
    ConnectTimeout {
        /// Host and port.
        address: String,
        /// The limit.
        within: Duration,
    },
    /// The connection broke.
    #[error("{request}: connection broken: {source}")]
    Broken {
        /// What was asked for.
        request: Request,
        /// What the operating system said.
        source: io::Error,
    },
    /// No answer in time. A late answer could be taken for that to the next request, so the
    /// connection is given up.
    #[error("{request}: no answer within {} ms", within.as_millis())]
    Timeout {
        /// What was asked for.
        request: Request,
        /// The limit.
        within: Duration,
    },
    /// The connection was given up after an earlier failure.
    #[error("{request}: not connected any more")]
    GivenUp {
        /// What was asked for.
        request: Request,
    },
    /// The device answered with an exception code.
    #[error("{request}: the device refused with exception {code} ({})", meaning(*code))]
    Refused {
        /// What was asked for.
        request: Request,
        /// Modbus exception code.
        code: u8,
    },
    /// The answer is not a well-formed frame.
    #[error("{request}: malformed answer: {source}")]
    Malformed {
        /// What was asked for.
        request: Request,
        /// What was wrong with it.
        source: io::Error,
    },
    /// The answer carries another transaction, unit or function than the request.
    #[error("{request}: the answer belongs to another request ({detail})")]
    NotForUs {
        /// What was asked for.
        request: Request,
        /// Both headers.
        detail: String,
    },
    /// The answer has another length than was asked for.
    #[error("{request}: {got} values came back, wanted {}", request.count)]
    Length {
        /// What was asked for.
        request: Request,
        /// How many values came.
        got: usize,
    },
    /// More than one request can carry, nothing at all, or past address 65535.
    #[error("{request}: a request covers 1 to {limit} values up to address 65535")]
    Span {
        /// What was asked for.
        request: Request,
        /// Most values in one request.
        limit: u16,
    },
}

impl ModbusError {
    /// Which kind of failure it is.
    pub fn trouble(&self) -> Trouble {
        match self {
            Self::Connect { .. }
            | Self::ConnectTimeout { .. }
            | Self::Broken { .. }
            | Self::Timeout { .. }
            | Self::GivenUp { .. } => Trouble::Link,
            Self::Refused { .. } | Self::Span { .. } => Trouble::Refused,
            Self::Malformed { .. } | Self::NotForUs { .. } | Self::Length { .. } => {
                Trouble::Undecodable
            }
        }
    }
}

/// Names of the exception codes. Source: MODBUS Application Protocol Specification V1.1b3, 7.
fn meaning(code: u8) -> &'static str {
    match code {
        1 => "illegal function",
        2 => "illegal data address",
        3 => "illegal data value",
        4 => "device failure",
        5 => "acknowledged, still working",
        6 => "device busy",
        8 => "memory parity error",
        10 => "gateway path unavailable",
        11 => "device behind the gateway does not answer",
        _ => "not in the standard",
    }
}
