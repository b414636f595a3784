//! A password from where the site file says that it is. Never in here: keeping it, or printing it.

use config::checked::{CREDENTIALS, Secret};
use std::borrow::Cow;
use std::env::VarError;
use std::ffi::OsString;
use std::io;
use std::path::{Path, PathBuf};

/// The variable that names the folder of credentials (systemd.exec(5), `LoadCredential=`).
const CREDENTIALS_VARIABLE: &str = "CREDENTIALS_DIRECTORY";

/// Where a file is; of one in the folder of credentials, where that is in this run.
///
/// # Errors
/// If nobody has named that folder.
pub fn place(path: &Path) -> io::Result<Cow<'_, Path>> {
    place_in(path, std::env::var_os(CREDENTIALS_VARIABLE))
}

fn place_in(path: &Path, credentials: Option<OsString>) -> io::Result<Cow<'_, Path>> {
    let Some(name) = path
        .to_str()
        .and_then(|path| path.strip_prefix(CREDENTIALS))
    else {
        return Ok(Cow::Borrowed(path));
    };
    match credentials {
        Some(folder) => Ok(Cow::Owned(PathBuf::from(folder).join(name))),
        None => Err(io::Error::new(
            io::ErrorKind::NotFound,
            format!(
                "{}: the variable {CREDENTIALS_VARIABLE} is not set; wanted a service with \
                 LoadCredential={name}:FILE",
                path.display()
            ),
        )),
    }
}

/// The password; the line end behind it in a file is none of it.
///
/// # Errors
/// If the file or the variable cannot be read, with its name.
pub fn read(secret: &Secret) -> io::Result<String> {
    match secret {
        Secret::File(path) => {
            let path = place(path)?;
            let text = std::fs::read_to_string(&path);
            let named = |error: io::Error| {
                io::Error::new(error.kind(), format!("{}: {error}", path.display()))
            };
            Ok(text
                .map_err(named)?
                .trim_end_matches(['\r', '\n'])
                .to_owned())
        }
        // The error of the library has the value in it.
        Secret::Variable(name) => match std::env::var(name) {
            Ok(password) => Ok(password),
            Err(VarError::NotPresent) => {
                let text = format!("variable {name}: it is not set");
                Err(io::Error::new(io::ErrorKind::NotFound, text))
            }
            Err(VarError::NotUnicode(_)) => {
                let text = format!("variable {name}: found bytes that are no UTF-8, wanted text");
                Err(io::Error::new(io::ErrorKind::InvalidData, text))
            }
        },
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_credential_is_where_this_run_has_it() {
        let path = Path::new("${CREDENTIALS_DIRECTORY}/mail-password");
        let found = place_in(path, Some("/run/credentials/x".into())).expect("named");
        assert_eq!(found, Path::new("/run/credentials/x/mail-password"));
        let refused = place_in(path, None).expect_err("nobody has named it");
        assert!(
            refused
                .to_string()
                .contains("LoadCredential=mail-password:FILE"),
            "{refused}"
        );
        let plain = Path::new("/etc/noonmark/password");
        assert_eq!(place_in(plain, None).expect("no credential"), plain);
    }
}
