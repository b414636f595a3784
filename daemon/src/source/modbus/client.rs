//! A Modbus connection that can only read: functions 1 to 4, each with a time limit.
//!
//! The library's client is private to this file, and the only requests that the file can form are
//! the four of [`ask`]; the library's readers are not used, because one of them also writes
//! (function 23) and because they panic in debug builds when a device answers with another length
//! than was asked for. `tests/read_only.rs` holds the rest of the sources to the same.
//!
//! An answer with another transaction id, unit, function or length is an error. What becomes of the
//! connection then is for the line to say. Never in here: what a value means.

use super::error::{ModbusError, Request};
use super::stream::{Carrier, Heard, SharedStream};
use crate::clock::monotonic;
use std::io;
use std::pin::Pin;
use std::time::Duration;
use tokio::time::{Sleep, sleep};
use tokio_modbus::client::{Client, Context};
use tokio_modbus::slave::SlaveContext;
use tokio_modbus::{Error, ProtocolError, Response, Slave};

/// Most registers in one request. Source: MODBUS Application Protocol Specification V1.1b3, 6.3.
pub const MAX_REGISTERS: u16 = 125;
/// Most bits in one request. Source: MODBUS Application Protocol Specification V1.1b3, 6.1.
pub(super) const MAX_BITS: u16 = 2000;

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

/// One connection, to every unit behind it. After an error that is not a refusal, and after a request
/// whose future was dropped, it must not be used again, except on a line without transaction ids
/// once everybody is quiet.
pub(super) struct Connection {
    context: Context,
    stream: SharedStream,
    is_rtu: bool,
    /// When an answer is late: moved on with each request, which costs less than a new timer.
    late: Pin<Box<Sleep>>,
}

/// What came back for a request.
pub(super) enum Answer {
    Registers(Vec<u16>),
    Bits(Vec<bool>),
}

impl Connection {
    /// Takes a stream that carries Modbus TCP frames.
    pub(super) fn over_tcp(stream: impl Carrier) -> Self {
        let stream = SharedStream::new(stream);
        let context = tokio_modbus::client::tcp::attach(stream.clone());
        Self::new(context, stream, false)
    }

    /// Takes a stream that carries the frames of a serial line.
    pub(super) fn over_rtu(stream: impl Carrier) -> Self {
        let stream = SharedStream::new(stream);
        let context = tokio_modbus::client::rtu::attach(stream.clone());
        Self::new(context, stream, true)
    }

    fn new(context: Context, stream: SharedStream, is_rtu: bool) -> Self {
        Self {
            context,
            stream,
            is_rtu,
            late: Box::pin(sleep(Duration::ZERO)),
        }
    }

    /// One request and its answer; where `is_alone`, an error if anything else came with it on a
    /// serial line.
    pub(super) async fn ask(
        &mut self,
        unit: u8,
        request: Request,
        within: Duration,
        is_alone: bool,
    ) -> Result<Answer, ModbusError> {
        check_span(request)?;
        self.context.set_slave(Slave(unit));
        let before = self.stream.taken();
        self.late.as_mut().reset(monotonic() + within);
        let outcome = tokio::select! {
            biased;
            answer = ask(&mut self.context, request) => match answer {
                Ok(Ok(response)) => take(request, response),
                Ok(Err(code)) => {
                    let code = code.into();
                    Err(ModbusError::Refused { request, code })
                }
                Err(Error::Transport(source)) => Err(transport_error(request, source)),
                Err(Error::Protocol(error)) => Err(not_for_us(request, &error)),
            },
            () = &mut self.late => Err(ModbusError::Timeout { request, within }),
        };
        let taken = self.stream.taken().wrapping_sub(before);
        let is_checked = self.is_rtu && is_alone;
        match rtu_length(request, &outcome).filter(|wanted| is_checked && taken != *wanted) {
            Some(wanted) => {
                let detail = format!("{taken} bytes came, its frame has {wanted}");
                Err(ModbusError::NotForUs { request, detail })
            }
            None => outcome,
        }
    }

    /// Throws away whatever comes until nothing has come for `quiet`, at most for `longest`.
    pub(super) async fn drain(&mut self, quiet: Duration, longest: Duration) -> Heard {
        // On the heap, so that a device without a serial line does not keep room for it.
        Box::pin(self.stream.drain(quiet, longest)).await
    }
}

/// Bytes of a right frame on a serial line. The library skips bytes before a frame and forgets those
/// behind it; without transaction ids both say that something else has been on the line.
fn rtu_length(request: Request, outcome: &Result<Answer, ModbusError>) -> Option<usize> {
    // Unit, function, count of bytes; checksum.
    const AROUND: usize = 5;
    let count = usize::from(request.count);
    match outcome {
        Ok(Answer::Registers(_)) => Some(AROUND + 2 * count),
        Ok(Answer::Bits(_)) => Some(AROUND + count.div_ceil(8)),
        // Unit, function, code; checksum.
        Err(ModbusError::Refused { .. }) => Some(5),
        Err(_) => None,
    }
}

/// The values of a response with as many of them as were asked for.
fn take(request: Request, response: Response) -> Result<Answer, ModbusError> {
    let wanted = usize::from(request.count);
    let got = match response {
        Response::ReadHoldingRegisters(values) | Response::ReadInputRegisters(values) => {
            if values.len() == wanted {
                return Ok(Answer::Registers(values));
            }
            values.len()
        }
        // Bits come in whole bytes; the last byte is filled up.
        Response::ReadCoils(mut bits) | Response::ReadDiscreteInputs(mut bits) => {
            if bits.len() == wanted.next_multiple_of(8) {
                bits.truncate(wanted);
                return Ok(Answer::Bits(bits));
            }
            bits.len()
        }
        _ => 0,
    };
    Err(ModbusError::Length { request, got })
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

/// An impossible span is not sent.
fn check_span(request: Request) -> Result<(), ModbusError> {
    let limit = match request.function {
        1 | 2 => MAX_BITS,
        _ => MAX_REGISTERS,
    };
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
        // An ending of the serial kind of connection.
        io::ErrorKind::BrokenPipe => {
            let source = io::Error::new(io::ErrorKind::ConnectionAborted, "closed by the device");
            ModbusError::Broken { request, source }
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
