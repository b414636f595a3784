//! Devices that publish messages through an MQTT broker.
//!
//! Messages arrive at `broker`, one connection for all devices of a broker; `payload` and `sparkplug`
//! say what stands in them; `device` puts what belongs together into one poll; `subscriber` is the
//! task that does all of it for a broker.
//! Nothing is ever published: not even the command by which Sparkplug asks for a new birth, because it is a
//! command to a device. Held by `tests/read_only.rs`.
//! Never in here: what a reading means.

mod broker;
mod device;
mod payload;
mod sparkplug;
mod subscriber;

pub use broker::greet;
pub use device::MessageDevice;
pub use payload::{Garbage, Part, parts};
pub use sparkplug::{EdgeNode, Verb};
pub use subscriber::Subscriber;
