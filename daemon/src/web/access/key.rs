//! The key that signs what the page hands out: 32 bytes of chance in the daemon's folder, for the
//! daemon's user alone.
//! Never in here: what is signed.

use ring::hmac;
use ring::rand::{SecureRandom, SystemRandom};
use std::fs::{self, File, OpenOptions};
use std::io::{self, Read, Write};
use std::path::{Path, PathBuf};
use thiserror::Error;
use tracing::warn;

/// Its name in the daemon's folder.
pub const KEY_NAME: &str = "page.key";
const KEY_BYTES: usize = 32;

/// Why there is no key. Messages read after "failed to".
#[derive(Debug, Error)]
pub enum KeyError {
    /// The file.
    #[error("keep the key of the page in {}: {source}", .path.display())]
    File {
        /// Which.
        path: PathBuf,
        /// What the system said.
        source: io::Error,
    },
    /// The system gives no chance.
    #[error("draw a key for the page: the system gives no random numbers")]
    Chance,
}

/// A key; nothing of it is printed.
#[derive(Debug, Clone)]
pub struct Key(hmac::Key);

impl Key {
    /// The key of the daemon's folder, made if there is none.
    ///
    /// # Errors
    /// If it can be neither read nor made.
    pub fn of_folder(folder: &Path) -> Result<Self, KeyError> {
        let path = folder.join(KEY_NAME);
        let at = |source| KeyError::File {
            path: path.clone(),
            source,
        };
        match read(&path) {
            Ok(Some(bytes)) => return Ok(Self::new(&bytes)),
            Ok(None) => {
                warn!(file = %path.display(), "the key of the page was open to others or damaged; a new one is made");
                fs::remove_file(&path).map_err(at)?;
            }
            Err(error) if error.kind() == io::ErrorKind::NotFound => {}
            Err(error) => return Err(at(error)),
        }
        let bytes: [u8; KEY_BYTES] = chance()?;
        create(&path)
            .and_then(|mut file| file.write_all(&bytes))
            .map_err(at)?;
        Ok(Self::new(&bytes))
    }

    /// From the bytes themselves.
    pub fn new(bytes: &[u8; KEY_BYTES]) -> Self {
        Self(hmac::Key::new(hmac::HMAC_SHA256, bytes))
    }

    /// The signature of some parts, in hexadecimal; no two lists of parts are signed the same.
    pub fn sign(&self, parts: &[&str]) -> String {
        hex(hmac::sign(&self.0, &joined(parts)).as_ref())
    }

    /// Whether it is the signature of these parts; takes as long whether it is or not.
    pub fn is_signature(&self, parts: &[&str], signature: &str) -> bool {
        from_hex(signature)
            .is_some_and(|bytes| hmac::verify(&self.0, &joined(parts), &bytes).is_ok())
    }
}

/// Bytes that nobody can guess.
///
/// # Errors
/// If the system gives none.
pub fn chance<const N: usize>() -> Result<[u8; N], KeyError> {
    let mut bytes = [0; N];
    let filled = SystemRandom::new().fill(&mut bytes);
    filled.map(|()| bytes).map_err(|_| KeyError::Chance)
}

/// As hexadecimal digits.
pub fn hex(bytes: &[u8]) -> String {
    bytes.iter().map(|byte| format!("{byte:02x}")).collect()
}

fn from_hex(text: &str) -> Option<Vec<u8>> {
    let digit = |c: u8| (c as char).to_digit(16);
    let pair = |pair: &[u8]| Some((digit(pair[0])? * 16 + digit(*pair.get(1)?)?) as u8);
    text.as_bytes().chunks(2).map(pair).collect()
}

/// With the length before each, so that parts cannot run into each other.
fn joined(parts: &[&str]) -> Vec<u8> {
    let part = |part: &&str| format!("{}:{part}", part.len()).into_bytes();
    parts.iter().flat_map(part).collect()
}

/// `None` if others may read it, or if it is no key.
fn read(path: &Path) -> io::Result<Option<[u8; KEY_BYTES]>> {
    let mut file = File::open(path)?;
    let is_private = is_private(&file)?;
    let mut bytes = Vec::new();
    file.read_to_end(&mut bytes)?;
    Ok(bytes.try_into().ok().filter(|_| is_private))
}

#[cfg(unix)]
fn is_private(file: &File) -> io::Result<bool> {
    use std::os::unix::fs::PermissionsExt;
    Ok(file.metadata()?.permissions().mode() & 0o077 == 0)
}

#[cfg(not(unix))]
fn is_private(_: &File) -> io::Result<bool> {
    Ok(true)
}

fn create(path: &Path) -> io::Result<File> {
    let mut options = OpenOptions::new();
    options.write(true).create_new(true);
    #[cfg(unix)]
    {
        use std::os::unix::fs::OpenOptionsExt;
        options.mode(0o600);
    }
    options.open(path)
}

#[cfg(all(test, unix))]
mod tests {
    use super::*;
    use std::os::unix::fs::PermissionsExt;

    #[test]
    fn a_key_stays_and_is_for_its_owner_alone() {
        let folder = tempfile::tempdir().expect("a folder");
        let signature = Key::of_folder(folder.path())
            .expect("made")
            .sign(&["a", "b"]);
        let again = Key::of_folder(folder.path()).expect("read");
        assert!(again.is_signature(&["a", "b"], &signature));
        for other in [&["ab"][..], &["a", "b", ""], &["", "ab"]] {
            assert!(!again.is_signature(other, &signature), "{other:?}");
        }
        assert!(!again.is_signature(&["a", "b"], "zz") && !again.is_signature(&["a", "b"], ""));
        let path = folder.path().join(KEY_NAME);
        let mode = fs::metadata(&path).expect("there").permissions().mode();
        assert_eq!(mode & 0o777, 0o600);
        fs::set_permissions(&path, fs::Permissions::from_mode(0o644)).expect("ours");
        let new = Key::of_folder(folder.path()).expect("made anew");
        assert!(
            !new.is_signature(&["a", "b"], &signature),
            "somebody may know the old one"
        );
    }
}
