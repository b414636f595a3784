//! A Modbus client that can only read: functions 1 to 4, each with a time limit.
//!
//! The connection is private to this file, and the only requests that the file can form are the
//! four of [`ask`]; the library's readers are not used, because one of them also writes
//! (function 23) and because they panic in debug builds when a device answers with another length
//! than was asked for. `tests/read_only.rs` holds the rest of the sources to the same.
//!
//! An answer with another transaction id, unit or function is an error, and the connection is
//! given up: after it nobody knows which answer is the next one. Never in here: what a value means.

use super::error::{ModbusError, Request};
use std::io;
use std::time::Duration;
use tokio::io::{AsyncRead, AsyncWrite};
use tokio::net::TcpStream;
use tokio::time::timeout;
use tokio_modbus::client::{Client, Context};
use tokio_modbus::{Error, ProtocolError, Response, Slave};

/// Most registers in one request. Source: MODBUS Application Protocol Specification V1.1b3, 6.3.
pub const MAX_REGISTERS: u16 = 125;
/// Most bits in one request. Source: MODBUS Application Protocol Specification V1.1b3, 6.1.
const MAX_BITS: u16 = 2000;

/// The two kinds of register.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum RegisterKind {
    /// Function 3.
    Holding,
    /// Function 4.
    Input,
}

impl RegisterKind {
    /// The function code that reads it.
    pub const fn function(self) -> u8 {
        match self {
            Self::Holding => 3,
            Self::Input => 4,
        }
    }
}

/// A connection to one unit. After an error that is not a refusal, and after a request whose future
/// was dropped, it is closed and stays closed.
pub struct ReadOnlyClient {
    /// `None` once given up.
    connection: Option<Context>,
    within: Duration,
}

impl ReadOnlyClient {
    /// Connects to a unit over Modbus TCP; the limit holds for connecting and for each request.
    pub async fn connect_tcp(
        address: &str,
        unit: u8,
        within: Duration,
    ) -> Result<Self, ModbusError> {
        let connecting = timeout(within, TcpStream::connect(address)).await;
        let stream = match connecting {
            Ok(Ok(stream)) => stream,
            Ok(Err(source)) => {
                let address = address.to_owned();
                return Err(ModbusError::Connect { address, source });
            }
            Err(_) => {
                let address = address.to_owned();
                return Err(ModbusError::ConnectTimeout { address, within });
            }
        };
        // Requests are small and answered one by one: do not wait for more to send.
        if let Err(source) = stream.set_nodelay(true) {
            let address = address.to_owned();
            return Err(ModbusError::Connect { address, source });
        }
        Ok(Self::over_tcp_framing(stream, unit, within))
    }

    /// Takes a stream that carries Modbus TCP frames. Serial framing gets its own constructor
    /// beside this one; everything below is the same for both.
    pub fn over_tcp_framing<S>(stream: S, unit: u8, within: Duration) -> Self
    where
        S: AsyncRead + AsyncWrite + Send + Unpin + std::fmt::Debug + 'static,
    {
        Self {
            connection: Some(tokio_modbus::client::tcp::attach_slave(stream, Slave(unit))),
            within,
        }
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
        check_span(request, MAX_REGISTERS)?;
        match self.answer(request).await? {
            Response::ReadHoldingRegisters(values) | Response::ReadInputRegisters(values)
                if values.len() == usize::from(count) =>
            {
                Ok(values)
            }
            other => Err(self.wrong_length(request, &other)),
        }
    }

    /// Whether the connection can still be used.
    pub fn is_open(&self) -> bool {
        self.connection.is_some()
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
        check_span(request, MAX_BITS)?;
        match self.answer(request).await? {
            // Bits come in whole bytes; the last byte is filled up.
            Response::ReadCoils(mut bits) | Response::ReadDiscreteInputs(mut bits)
                if bits.len() == usize::from(count).next_multiple_of(8) =>
            {
                bits.truncate(usize::from(count));
                Ok(bits)
            }
            other => Err(self.wrong_length(request, &other)),
        }
    }

    async fn answer(&mut self, request: Request) -> Result<Response, ModbusError> {
        // Taken out while the answer is under way: whoever stops waiting leaves no connection on
        // which that answer could arrive later.
        let Some(mut connection) = self.connection.take() else {
            return Err(ModbusError::GivenUp { request });
        };
        let within = self.within;
        let outcome = match timeout(within, ask(&mut connection, request)).await {
            Ok(Ok(Ok(response))) => Ok(response),
            Ok(Ok(Err(code))) => {
                let code = code.into();
                Err(ModbusError::Refused { request, code })
            }
            Ok(Err(Error::Transport(source))) => return Err(transport_error(request, source)),
            Ok(Err(Error::Protocol(error))) => return Err(not_for_us(request, &error)),
            Err(_) => return Err(ModbusError::Timeout { request, within }),
        };
        self.connection = Some(connection);
        outcome
    }

    fn wrong_length(&mut self, request: Request, response: &Response) -> ModbusError {
        self.connection = None;
        let got = match response {
            Response::ReadHoldingRegisters(values) | Response::ReadInputRegisters(values) => {
                values.len()
            }
            Response::ReadCoils(bits) | Response::ReadDiscreteInputs(bits) => bits.len(),
            _ => 0,
        };
        ModbusError::Length { request, got }
    }
}

/// The only place where a request to a device is formed.
async fn ask(connection: &mut Context, request: Request) -> tokio_modbus::Result<Response> {
    let Request {
        function,
        first,
        count,
    } = request;
    let request = match function {
        1 => tokio_modbus::Request::ReadCoils(first, count),
        2 => tokio_modbus::Request::ReadDiscreteInputs(first, count),
        3 => tokio_modbus::Request::ReadHoldingRegisters(first, count),
        _ => tokio_modbus::Request::ReadInputRegisters(first, count),
    };
    connection.call(request).await
}

fn check_span(request: Request, limit: u16) -> Result<(), ModbusError> {
    let end = u32::from(request.first) + u32::from(request.count);
    if request.count == 0 || request.count > limit || end > 0x1_0000 {
        return Err(ModbusError::Span { request, limit });
    }
    Ok(())
}

fn transport_error(request: Request, source: io::Error) -> ModbusError {
    match source.kind() {
        // The codec's words for a frame that it cannot take apart.
        io::ErrorKind::InvalidData | io::ErrorKind::UnexpectedEof => {
            ModbusError::Malformed { request, source }
        }
        _ => {
            // The library reports a connection that was closed in good order with whatever error
            // the last system call left behind: usually none, or "would block", which cannot be
            // meant here because waiting is what the runtime does.
            let closed =
                source.raw_os_error() == Some(0) || source.kind() == io::ErrorKind::WouldBlock;
            let source = if closed {
                io::Error::new(io::ErrorKind::ConnectionAborted, "closed by the device")
            } else {
                source
            };
            ModbusError::Broken { request, source }
        }
    }
}

fn not_for_us(request: Request, error: &ProtocolError) -> ModbusError {
    let detail = match error {
        ProtocolError::HeaderMismatch { message, .. } => message.clone(),
        ProtocolError::FunctionCodeMismatch { request, .. } => {
            format!("function other than {request}")
        }
    };
    ModbusError::NotForUs { request, detail }
}

#[cfg(test)]
#[path = "client_tests.rs"]
mod tests;
