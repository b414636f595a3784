//! The frame of a packed row: a checksum, then what was packed.
//!
//! SQLite does not notice a bit that changes on the disk inside a value; the checksum does.
//! Layout: CRC-32 of the rest (4 bytes, little-endian), then the packed value as `postcard` writes it.

use super::column::Unreadable;
use serde::Serialize;
use serde::de::DeserializeOwned;

const CHECKSUM_BYTES: usize = 4;

/// As bytes.
pub(super) fn packed(value: &impl Serialize) -> Vec<u8> {
    let body = postcard::to_stdvec(value).expect("plain data always encodes");
    let mut bytes = crc32fast::hash(&body).to_le_bytes().to_vec();
    bytes.extend(body);
    bytes
}

/// From bytes, if they are as they were written.
pub(super) fn unpacked<T: DeserializeOwned>(bytes: &[u8]) -> Result<T, Unreadable> {
    postcard::from_bytes(sound(bytes)?).map_err(|error| Unreadable(error.to_string()))
}

/// Its first field alone.
pub(super) fn unpacked_first<T: DeserializeOwned>(bytes: &[u8]) -> Result<T, Unreadable> {
    let first = postcard::take_from_bytes(sound(bytes)?);
    first
        .map(|(first, _)| first)
        .map_err(|error| Unreadable(error.to_string()))
}

fn sound(bytes: &[u8]) -> Result<&[u8], Unreadable> {
    let (checksum, body) = bytes
        .split_first_chunk::<CHECKSUM_BYTES>()
        .ok_or_else(|| Unreadable(format!("{} bytes", bytes.len())))?;
    let (found, wanted) = (crc32fast::hash(body), u32::from_le_bytes(*checksum));
    if found != wanted {
        let text = format!("checksum {found:#010x}, wanted {wanted:#010x}");
        return Err(Unreadable(text));
    }
    Ok(body)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn any_changed_bit_is_noticed() {
        let value = vec![1_u64, 2, 300_000];
        let bytes = packed(&value);
        assert_eq!(unpacked::<Vec<u64>>(&bytes), Ok(value));
        for bit in 0..8 * bytes.len() {
            let mut changed = bytes.clone();
            changed[bit / 8] ^= 1 << (bit % 8);
            unpacked::<Vec<u64>>(&changed).expect_err("it was changed");
        }
        unpacked::<Vec<u64>>(&bytes[..3]).expect_err("it was cut");
    }
}
