//! Encrypted connections to brokers and receivers: whom we believe, and who we are.
//! Never in here: reasons to believe somebody else (there is no key that turns checks off).

use crate::secret;
use config::checked::Tls;
use rustls::crypto::ring::default_provider;
use rustls::pki_types::pem::PemObject;
use rustls::pki_types::{CertificateDer, PrivateKeyDer};
use rustls::{ClientConfig, RootCertStore};
use std::error::Error;
use std::io;
use std::path::Path;
use std::sync::Arc;

/// The settings of a connection.
///
/// # Errors
/// If a file cannot be read or holds no certificate or key, with its name.
pub fn settings(tls: &Tls) -> io::Result<Arc<ClientConfig>> {
    let mut roots = RootCertStore::empty();
    match &tls.ca_file {
        Some(path) => {
            for authority in certificates(&secret::place(path)?)? {
                roots.add(authority).map_err(|error| about(path, error))?;
            }
        }
        None => {
            // What of the system's store cannot be read is not believed.
            roots.add_parsable_certificates(rustls_native_certs::load_native_certs().certs);
        }
    }
    let wrong = |error: rustls::Error| io::Error::new(io::ErrorKind::InvalidInput, error);
    let builder = ClientConfig::builder_with_provider(Arc::new(default_provider()))
        .with_safe_default_protocol_versions()
        .map_err(wrong)?
        .with_root_certificates(roots);
    let settings = match &tls.identity {
        None => builder.with_no_client_auth(),
        Some((certificate, key)) => {
            let (certificate, key) = (&*secret::place(certificate)?, &*secret::place(key)?);
            let own = certificates(certificate)?;
            let key = PrivateKeyDer::from_pem_file(key).map_err(|error| about(key, error))?;
            let settings = builder.with_client_auth_cert(own, key);
            settings.map_err(|error| about(certificate, error))?
        }
    };
    Ok(Arc::new(settings))
}

/// What has kept an encrypted connection from coming about, in words; `None` where it was something else.
pub fn refusal(error: &(dyn Error + 'static)) -> Option<&'static str> {
    let mut next = Some(error);
    while let Some(error) = next {
        let inside = error
            .downcast_ref::<io::Error>()
            .and_then(io::Error::get_ref);
        let inside = inside.and_then(|error| error.downcast_ref::<rustls::Error>());
        if let Some(words) = error.downcast_ref().or(inside).and_then(in_words) {
            return Some(words);
        }
        next = error.source();
    }
    None
}

fn in_words(error: &rustls::Error) -> Option<&'static str> {
    use rustls::AlertDescription as Alert;
    use rustls::CertificateError as Theirs;
    use rustls::Error::{AlertReceived, InvalidCertificate};
    Some(match error {
        AlertReceived(Alert::CertificateRequired) => "the other side wants a certificate of ours",
        AlertReceived(Alert::CertificateExpired) => "our certificate has expired",
        AlertReceived(Alert::UnknownCA) => {
            "the other side does not know who has signed our certificate"
        }
        AlertReceived(
            Alert::BadCertificate | Alert::CertificateUnknown | Alert::CertificateRevoked,
        ) => "the other side does not take our certificate",
        InvalidCertificate(Theirs::Expired | Theirs::ExpiredContext { .. }) => {
            "the certificate of the other side has expired"
        }
        InvalidCertificate(Theirs::NotValidYet | Theirs::NotValidYetContext { .. }) => {
            "the certificate of the other side does not hold yet"
        }
        InvalidCertificate(Theirs::UnknownIssuer) => {
            "nobody whom we believe has signed the certificate of the other side"
        }
        InvalidCertificate(Theirs::NotValidForName | Theirs::NotValidForNameContext { .. }) => {
            "the certificate of the other side is for another name"
        }
        _ => return None,
    })
}

fn certificates(path: &Path) -> io::Result<Vec<CertificateDer<'static>>> {
    let found = CertificateDer::pem_file_iter(path).map_err(|error| about(path, error))?;
    let all: Result<Vec<_>, _> = found.collect();
    let all = all.map_err(|error| about(path, error))?;
    match all.is_empty() {
        true => Err(about(path, "no certificate in it, wanted PEM")),
        false => Ok(all),
    }
}

fn about(path: &Path, error: impl std::fmt::Display) -> io::Error {
    let text = format!("{}: {error}", path.display());
    io::Error::new(io::ErrorKind::InvalidInput, text)
}
