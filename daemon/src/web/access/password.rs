//! Passwords: only their argon2id hashes are ever kept.
//! Never in here: who may try how often (`attempts`).

use crate::secret;
use argon2::Argon2;
use argon2::password_hash::{PasswordHash, PasswordHasher, PasswordVerifier, SaltString};
use config::checked::Secret;
use ring::rand::{SecureRandom, SystemRandom};
use std::fmt;
use std::io;
use thiserror::Error;

/// Shorter ones are found by trying (common practice for a password that is used seldom).
pub const LEAST_CHARACTERS: usize = 10;
const SALT_BYTES: usize = 16;

/// Why there is no hash. Messages read after "failed to".
#[derive(Debug, Error)]
pub enum PasswordError {
    /// It is too easily found.
    #[error("take the password: found {found} characters, wanted {LEAST_CHARACTERS} or more")]
    TooShort {
        /// How long it is.
        found: usize,
    },
    /// The system gives no chance, or the hash cannot be worked out.
    #[error("work out the hash")]
    Hash,
    /// The file or variable cannot be read.
    #[error("read the password's hash: {0}")]
    Read(io::Error),
    /// What stands there is no such hash.
    #[error(
        "read the password's hash from {place}: found something else, wanted one line as \
         `noonmark password` prints it, beginning with $argon2id$"
    )]
    NotAHash {
        /// The file or variable, never what stands there.
        place: String,
    },
}

/// The hash of a password.
#[derive(Clone)]
pub struct Hash(String);

/// Nothing of it is printed.
impl fmt::Debug for Hash {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("***")
    }
}

impl Hash {
    /// Reads it from where the site file says.
    ///
    /// # Errors
    /// If it is not there, or no hash.
    pub fn read(from: &Secret) -> Result<Self, PasswordError> {
        let text = secret::read(from).map_err(PasswordError::Read)?;
        let text = text.trim().to_owned();
        let is_hash =
            PasswordHash::new(&text).is_ok_and(|hash| hash.algorithm.as_str() == "argon2id");
        if is_hash {
            return Ok(Self(text));
        }
        Err(PasswordError::NotAHash {
            place: match from {
                Secret::File(path) => path.display().to_string(),
                Secret::Variable(name) => format!("the variable {name}"),
            },
        })
    }

    /// Whether it is that of this password. Takes some 20 ms and 19 MB, which is the point of it.
    pub fn is_of(&self, password: &str) -> bool {
        let hash = PasswordHash::new(&self.0).expect("it was read as one");
        Argon2::default()
            .verify_password(password.as_bytes(), &hash)
            .is_ok()
    }
}

/// The hash of a new password, as one line of text.
///
/// # Errors
/// If it is too short.
pub fn hash(password: &str) -> Result<String, PasswordError> {
    let found = password.chars().count();
    if found < LEAST_CHARACTERS {
        return Err(PasswordError::TooShort { found });
    }
    let mut salt = [0; SALT_BYTES];
    SystemRandom::new()
        .fill(&mut salt)
        .map_err(|_| PasswordError::Hash)?;
    let salt = SaltString::encode_b64(&salt).map_err(|_| PasswordError::Hash)?;
    let hash = Argon2::default().hash_password(password.as_bytes(), &salt);
    Ok(hash.map_err(|_| PasswordError::Hash)?.to_string())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_hash_is_of_its_password_alone_and_never_twice_the_same() {
        let (one, two) = (
            hash("correct horse").expect("long"),
            hash("correct horse").expect("long"),
        );
        assert!(one.starts_with("$argon2id$") && one != two);
        assert!(Hash(one.clone()).is_of("correct horse"));
        assert!(!Hash(one.clone()).is_of("correct horsf"));
        assert_eq!(format!("{:?}", Hash(one)), "***");
        let short = hash("horse").expect_err("short");
        assert!(matches!(short, PasswordError::TooShort { found: 5 }));
    }

    #[test]
    fn a_password_in_the_clear_is_refused_without_being_repeated() {
        let folder = tempfile::tempdir().expect("a folder");
        let file = folder.path().join("page-password");
        std::fs::write(&file, "correct horse\n").expect("room");
        let error = Hash::read(&Secret::File(file))
            .expect_err("no hash")
            .to_string();
        assert!(
            error.contains("page-password") && !error.contains("horse"),
            "{error}"
        );
    }
}
