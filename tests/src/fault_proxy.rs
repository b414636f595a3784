//! A converter on the loopback that passes requests on and does to the answers of single units what
//! goes wrong on real lines.
//! Never in here: what is asked, or what must come of it.

use std::collections::BTreeMap;
use std::io;
use std::sync::{Arc, Mutex};
use std::time::Duration;
use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::net::{TcpListener, TcpStream};

/// What happens to the answers of a unit.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Trouble {
    /// Another transaction id (Modbus TCP only).
    WrongTransaction,
    /// Another unit.
    WrongUnit,
    /// The end is missing.
    Short,
    /// Bytes that are no frame.
    Garbage,
    /// An exception in place of the answer.
    Exception(u8),
    /// Nothing comes, and the connection stays open.
    Silence,
    /// The answer comes right before that to the next request, of whichever unit.
    Late,
    /// Byte by byte.
    Drip,
    /// The connection breaks.
    Reset,
}

/// How frames look on both sides.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Frames {
    /// Modbus TCP.
    Tcp,
    /// Of a serial line.
    Rtu,
}

/// What the proxy knows; shared with the test.
#[derive(Debug, Default)]
struct Shared {
    troubles: BTreeMap<u8, Trouble>,
    requests: BTreeMap<u8, usize>,
    connections: usize,
}

/// The proxy; its tasks end with the runtime.
pub struct FaultProxy {
    address: String,
    shared: Arc<Mutex<Shared>>,
}

impl FaultProxy {
    /// In front of a server.
    pub async fn start(upstream: String, frames: Frames) -> Self {
        let listener = TcpListener::bind("127.0.0.1:0").await.expect("a free port");
        let address = listener.local_addr().expect("bound").to_string();
        let shared = Arc::new(Mutex::new(Shared::default()));
        let (kept, up) = (shared.clone(), upstream);
        tokio::spawn(async move {
            while let Ok((near, _)) = listener.accept().await {
                kept.lock().expect("no panic").connections += 1;
                let (shared, up) = (kept.clone(), up.clone());
                tokio::spawn(async move {
                    // Ends with the connection, of whichever side.
                    let _ = carry(near, &up, frames, &shared).await;
                });
            }
        });
        Self { address, shared }
    }

    /// Where it listens.
    pub fn address(&self) -> String {
        self.address.clone()
    }

    /// From now on the answers of `unit` go wrong like this, or not any more.
    pub fn set(&self, unit: u8, trouble: Option<Trouble>) {
        let mut shared = self.shared.lock().expect("no panic");
        match trouble {
            Some(trouble) => shared.troubles.insert(unit, trouble),
            None => shared.troubles.remove(&unit),
        };
    }

    /// How many requests to `unit` have come.
    pub fn requests(&self, unit: u8) -> usize {
        let shared = self.shared.lock().expect("no panic");
        shared.requests.get(&unit).copied().unwrap_or(0)
    }

    /// How many connections have been made.
    pub fn connections(&self) -> usize {
        self.shared.lock().expect("no panic").connections
    }
}

/// From one byte to the next of a slow answer.
const DRIP: Duration = Duration::from_millis(2);

async fn carry(
    mut near: TcpStream,
    upstream: &str,
    frames: Frames,
    shared: &Mutex<Shared>,
) -> io::Result<()> {
    let mut far = TcpStream::connect(upstream).await?;
    near.set_nodelay(true)?;
    let mut late: Vec<u8> = Vec::new();
    loop {
        // Requests of functions 1 to 4 have one length.
        let mut request = vec![0; if frames == Frames::Tcp { 12 } else { 8 }];
        near.read_exact(&mut request).await?;
        let unit = request[if frames == Frames::Tcp { 6 } else { 0 }];
        let trouble = {
            let mut shared = shared.lock().expect("no panic");
            *shared.requests.entry(unit).or_default() += 1;
            shared.troubles.get(&unit).copied()
        };
        far.write_all(&request).await?;
        let mut answer = answer(&mut far, frames).await?;
        near.write_all(&std::mem::take(&mut late)).await?;
        match trouble {
            Some(Trouble::Silence) => continue,
            Some(Trouble::Late) => {
                late = answer;
                continue;
            }
            Some(Trouble::Reset) => {
                near.set_zero_linger()?;
                return Ok(());
            }
            Some(Trouble::Drip) => {
                for byte in answer {
                    near.write_all(&[byte]).await?;
                    tokio::time::sleep(DRIP).await;
                }
                continue;
            }
            Some(Trouble::WrongTransaction) => answer[1] = answer[1].wrapping_add(7),
            Some(Trouble::WrongUnit) => reframe(&mut answer, frames, |pdu, unit| {
                *unit = unit.wrapping_add(40);
                pdu
            }),
            Some(Trouble::Exception(code)) => {
                reframe(&mut answer, frames, |pdu, _| vec![pdu[0] | 0x80, code])
            }
            Some(Trouble::Short) => answer.truncate(answer.len() - 3),
            Some(Trouble::Garbage) => answer = (0..answer.len()).map(|i| (i * 37) as u8).collect(),
            None => {}
        }
        near.write_all(&answer).await?;
    }
}

async fn answer(far: &mut TcpStream, frames: Frames) -> io::Result<Vec<u8>> {
    let head = if frames == Frames::Tcp { 6 } else { 3 };
    let mut answer = vec![0; head];
    far.read_exact(&mut answer).await?;
    let rest = match frames {
        Frames::Tcp => usize::from(u16::from_be_bytes([answer[4], answer[5]])),
        Frames::Rtu if answer[1] & 0x80 != 0 => 2,
        Frames::Rtu => usize::from(answer[2]) + 2,
    };
    answer.resize(head + rest, 0);
    far.read_exact(&mut answer[head..]).await?;
    Ok(answer)
}

/// Changes unit and what follows it, and makes a right frame of that.
fn reframe(answer: &mut Vec<u8>, frames: Frames, change: impl Fn(Vec<u8>, &mut u8) -> Vec<u8>) {
    match frames {
        Frames::Tcp => {
            let mut unit = answer[6];
            let pdu = change(answer[7..].to_vec(), &mut unit);
            answer.truncate(4);
            answer.extend((pdu.len() as u16 + 1).to_be_bytes());
            answer.push(unit);
            answer.extend(pdu);
        }
        Frames::Rtu => {
            let mut unit = answer[0];
            let pdu = change(answer[1..answer.len() - 2].to_vec(), &mut unit);
            *answer = vec![unit];
            answer.extend(pdu);
            let checksum = checksum(answer);
            answer.extend(checksum.to_le_bytes());
        }
    }
}

/// Source: MODBUS over Serial Line V1.02, 6.2.2 (from memory, verify; the peers accept it).
fn checksum(bytes: &[u8]) -> u16 {
    bytes.iter().fold(0xFFFF, |crc, byte| {
        (0..8).fold(crc ^ u16::from(*byte), |crc, _| match crc & 1 {
            1 => crc >> 1 ^ 0xA001,
            _ => crc >> 1,
        })
    })
}
