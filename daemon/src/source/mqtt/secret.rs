//! A password from where the site file says that it is. Never in here: keeping it, or printing it.

use config::checked::Secret;
use std::io;

/// The password; the line end behind it in a file is none of it.
pub(crate) fn read(secret: &Secret) -> io::Result<String> {
    match secret {
        Secret::File(path) => {
            let text = std::fs::read_to_string(path);
            let named = |error: io::Error| {
                io::Error::new(error.kind(), format!("{}: {error}", path.display()))
            };
            Ok(text
                .map_err(named)?
                .trim_end_matches(['\r', '\n'])
                .to_owned())
        }
        Secret::Variable(name) => std::env::var(name).map_err(|error| {
            io::Error::new(io::ErrorKind::NotFound, format!("variable {name}: {error}"))
        }),
    }
}
