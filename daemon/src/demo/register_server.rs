//! A Modbus TCP server that gives out registers and lets nobody change them.
//!
//! It stands in for devices: functions 3 and 4 answer from the same registers, everything else is
//! refused with exception 1. Never in here: what the registers mean.

use std::collections::BTreeMap;
use std::future::{Future, Ready, ready};
use std::io;
use std::sync::{Arc, Mutex, PoisonError};
use tokio::net::TcpListener;
use tokio_modbus::server::Service;
use tokio_modbus::server::tcp::{Server, accept_tcp_connection};
use tokio_modbus::{ExceptionCode, Request, Response, SlaveRequest};
use tracing::debug;

/// Most registers in one answer. Source: MODBUS Application Protocol Specification V1.1b3, 6.3.
const MAX_REGISTERS: u16 = 125;

/// The registers of every unit. Clones share them: the plant fills, the server gives out.
#[derive(Debug, Clone, Default)]
pub struct Registers(Arc<Mutex<BTreeMap<u8, BTreeMap<u16, u16>>>>);

impl Registers {
    /// No unit yet.
    pub fn new() -> Self {
        Self::default()
    }

    /// Replaces all registers of a unit at once, so that no answer mixes old and new.
    pub fn replace(&self, unit: u8, image: BTreeMap<u16, u16>) {
        self.with(|units| units.insert(unit, image));
    }

    /// Takes a unit away: the server answers as a gateway does whose device is silent.
    pub fn remove(&self, unit: u8) {
        self.with(|units| units.remove(&unit));
    }

    /// The registers asked for, or the exception that a device would answer.
    fn read(&self, unit: u8, first: u16, count: u16) -> Result<Vec<u16>, ExceptionCode> {
        if !(1..=MAX_REGISTERS).contains(&count) {
            return Err(ExceptionCode::IllegalDataValue);
        }
        let last = first.checked_add(count - 1);
        let last = last.ok_or(ExceptionCode::IllegalDataAddress)?;
        self.with(|units| {
            let image = units.get(&unit).ok_or(ExceptionCode::GatewayTargetDevice)?;
            let found: Vec<u16> = image.range(first..=last).map(|(_, value)| *value).collect();
            if found.len() == usize::from(count) {
                Ok(found)
            } else {
                Err(ExceptionCode::IllegalDataAddress)
            }
        })
    }

    fn with<T>(&self, act: impl FnOnce(&mut BTreeMap<u8, BTreeMap<u16, u16>>) -> T) -> T {
        // A panic elsewhere leaves whole images behind: they are only ever replaced.
        act(&mut self.0.lock().unwrap_or_else(PoisonError::into_inner))
    }
}

/// Answers on `listener` until `stop` completes; open connections end with it.
pub async fn serve(
    listener: TcpListener,
    registers: Registers,
    stop: impl Future<Output = ()> + Send + Sync + 'static,
) -> io::Result<()> {
    let unit_server = || UnitServer {
        registers: registers.clone(),
    };
    let connected = |stream, address| async move {
        accept_tcp_connection(stream, address, |_| Ok(Some(unit_server())))
    };
    let failed = |error| debug!(%error, "connection ended");
    let server = Server::new(listener);
    server.serve_until(&connected, failed, stop).await?;
    Ok(())
}

struct UnitServer {
    registers: Registers,
}

impl Service for UnitServer {
    type Request = SlaveRequest<'static>;
    type Response = Response;
    type Exception = ExceptionCode;
    type Future = Ready<Result<Response, ExceptionCode>>;

    fn call(&self, request: Self::Request) -> Self::Future {
        let unit = request.slave;
        let read = |first, count| self.registers.read(unit, first, count);
        ready(match request.request {
            Request::ReadHoldingRegisters(first, count) => {
                read(first, count).map(Response::ReadHoldingRegisters)
            }
            Request::ReadInputRegisters(first, count) => {
                read(first, count).map(Response::ReadInputRegisters)
            }
            _ => Err(ExceptionCode::IllegalFunction),
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn registers() -> Registers {
        let registers = Registers::new();
        registers.replace(3, [(100, 7), (101, 8), (65_535, 9)].into());
        registers
    }

    #[test]
    fn only_what_is_there_is_given_out() {
        let registers = registers();
        assert_eq!(registers.read(3, 100, 2), Ok(vec![7, 8]));
        assert_eq!(registers.read(3, 65_535, 1), Ok(vec![9]));
        for (first, count) in [(101, 2), (99, 1), (65_535, 2)] {
            let answer = registers.read(3, first, count);
            assert_eq!(answer, Err(ExceptionCode::IllegalDataAddress));
        }
        let nobody = registers.read(4, 100, 1);
        assert_eq!(nobody, Err(ExceptionCode::GatewayTargetDevice));
        let too_many = registers.read(3, 100, 126);
        assert_eq!(too_many, Err(ExceptionCode::IllegalDataValue));
    }

    #[tokio::test]
    async fn whoever_wants_to_change_something_is_refused() {
        let registers = registers();
        let server = UnitServer {
            registers: registers.clone(),
        };
        let changes = [
            Request::WriteSingleRegister(100, 1),
            Request::WriteMultipleRegisters(100, vec![1].into()),
            Request::MaskWriteRegister(100, 0, 0),
            Request::ReadWriteMultipleRegisters(100, 1, 100, vec![1].into()),
            Request::WriteSingleCoil(100, true),
            Request::WriteMultipleCoils(100, vec![true].into()),
        ];
        for request in changes {
            let answer = server.call(SlaveRequest { slave: 3, request }).await;
            assert_eq!(answer, Err(ExceptionCode::IllegalFunction));
        }
        assert_eq!(registers.read(3, 100, 2), Ok(vec![7, 8]));
    }
}
