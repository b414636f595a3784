//! Who a device says it is (model 1). Never in here: a decision that depends on it.

use super::encoding::text;
use super::table::layout;

/// The texts of model 1; `None` where the device leaves them empty.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Identity {
    /// `Mn`.
    pub manufacturer: Option<String>,
    /// `Md`.
    pub model: Option<String>,
    /// `Opt`.
    pub options: Option<String>,
    /// `Vr`.
    pub version: Option<String>,
    /// `SN`.
    pub serial: Option<String>,
}

impl Identity {
    /// From the image of model 1, which begins at its id register.
    pub fn decode(image: &[u16]) -> Self {
        let layout = layout(1).expect("model 1 is in the table");
        let read = |name| text(layout.fixed_point(name)?.slice(image)?);
        Self {
            manufacturer: read("Mn"),
            model: read("Md"),
            options: read("Opt"),
            version: read("Vr"),
            serial: read("SN"),
        }
    }
}
