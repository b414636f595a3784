//! Exit codes, after the BSD `sysexits` convention. Never in here: decisions.

/// Done.
pub const DONE: u8 = 0;
/// Wrong usage.
pub const USAGE: u8 = 64;
/// Bad data in a recording.
pub const BAD_DATA: u8 = 65;
/// A device cannot be reached.
pub const UNREACHABLE: u8 = 69;
/// Something inside went wrong that no input explains.
pub const INTERNAL: u8 = 70;
/// A file or folder cannot be created.
pub const CANNOT_CREATE: u8 = 73;
/// Output cannot be written.
pub const CANNOT_WRITE: u8 = 74;
/// The site file is bad.
pub const BAD_SITE_FILE: u8 = 78;
