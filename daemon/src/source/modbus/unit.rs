//! One unit on a line, as everybody who asks it sees it. Never in here: another unit's business.

use super::client::{Answer, Connection, RegisterKind};
use super::endpoint::{Endpoint, Framing};
use super::error::{ModbusError, Request};
use super::line::{Line, Turn};
use super::stream::Carrier;
use std::collections::BTreeMap;
use std::time::Duration;

/// What a unit has answered, as it came: by function code and first address, counted from 0.
pub type Words = BTreeMap<(u8, u16), Vec<u16>>;

/// A unit that is only ever read.
pub struct ReadOnlyClient {
    line: Line,
    unit: u8,
    within: Duration,
    /// Held over several requests, so that they stand close together in time.
    turn: Option<Turn>,
    /// The latest answer to each request, since they were taken last; a bit is 0 or 1.
    heard: Words,
}

impl ReadOnlyClient {
    /// A unit on a line; the limit holds for connecting and for each request.
    pub fn on(line: Line, unit: u8, within: Duration) -> Self {
        Self {
            line,
            unit,
            within,
            turn: None,
            heard: Words::new(),
        }
    }

    /// Connects to a unit over Modbus TCP that shares its connection with nobody.
    pub async fn connect_tcp(
        address: &str,
        unit: u8,
        within: Duration,
    ) -> Result<Self, ModbusError> {
        let address = address.to_owned();
        let mut client = Self::on(Line::to(Endpoint::Tcp { address }), unit, within);
        client.open().await?;
        Ok(client)
    }

    /// Takes a stream that carries Modbus TCP frames; once given up it stays so.
    pub fn over_tcp_framing(stream: impl Carrier, unit: u8, within: Duration) -> Self {
        let line = Line::over(Connection::over_tcp(stream), Framing::Tcp);
        Self::on(line, unit, within)
    }

    /// Opens the connection where there is none.
    pub async fn open(&mut self) -> Result<(), ModbusError> {
        let within = self.within;
        match &mut self.turn {
            Some(turn) => turn.open(within).await,
            None => self.line.turn().await.open(within).await,
        }
    }

    /// Waits for the line and keeps it until [`ReadOnlyClient::end_turn`].
    pub async fn begin_turn(&mut self) {
        if self.turn.is_none() {
            self.turn = Some(self.line.turn().await);
        }
    }

    /// Lets the others ask.
    pub fn end_turn(&mut self) {
        self.turn = None;
    }

    /// Reads coils (function 1).
    pub async fn coils(&mut self, first: u16, count: u16) -> Result<Vec<bool>, ModbusError> {
        self.bits(1, first, count).await
    }

    /// Reads discrete inputs (function 2).
    pub async fn discrete_inputs(
        &mut self,
        first: u16,
        count: u16,
    ) -> Result<Vec<bool>, ModbusError> {
        self.bits(2, first, count).await
    }

    /// Reads registers (function 3 or 4).
    pub async fn registers(
        &mut self,
        kind: RegisterKind,
        first: u16,
        count: u16,
    ) -> Result<Vec<u16>, ModbusError> {
        let request = Request {
            function: kind.function(),
            first,
            count,
        };
        match self.answer(request).await? {
            Answer::Registers(values) => {
                self.heard.insert((request.function, first), values.clone());
                Ok(values)
            }
            // The library holds answers to the function that was asked for.
            Answer::Bits(bits) => Err(ModbusError::Length {
                request,
                got: bits.len(),
            }),
        }
    }

    /// What was answered since this was asked last.
    pub fn take_heard(&mut self) -> Words {
        std::mem::take(&mut self.heard)
    }

    /// Whether there is a connection.
    pub fn is_open(&self) -> bool {
        match &self.turn {
            Some(turn) => turn.is_open(),
            None => self.line.is_open(),
        }
    }

    /// The limit of each request.
    pub fn within(&self) -> Duration {
        self.within
    }

    async fn bits(
        &mut self,
        function: u8,
        first: u16,
        count: u16,
    ) -> Result<Vec<bool>, ModbusError> {
        let request = Request {
            function,
            first,
            count,
        };
        match self.answer(request).await? {
            Answer::Bits(bits) => {
                let words = bits.iter().map(|bit| u16::from(*bit)).collect();
                self.heard.insert((request.function, first), words);
                Ok(bits)
            }
            Answer::Registers(values) => Err(ModbusError::Length {
                request,
                got: values.len(),
            }),
        }
    }

    async fn answer(&mut self, request: Request) -> Result<Answer, ModbusError> {
        if self.turn.as_ref().is_some_and(Turn::is_over) {
            self.turn = None;
            self.begin_turn().await;
        }
        let (unit, within) = (self.unit, self.within);
        match &mut self.turn {
            Some(turn) => turn.ask(unit, request, within).await,
            None => self.line.turn().await.ask(unit, request, within).await,
        }
    }
}

#[cfg(test)]
#[path = "unit_tests.rs"]
mod tests;
