//! TLS that this process speaks itself: a certificate and its key from files, and again when the files are renewed.
//!
//! Invariants: TLS 1.2 and 1.3 alone; a renewed pair of files is taken without a restart, and one that is not right leaves the
//! pair before it in use. Deliberately absent: where certificates come from.

use std::path::{Path, PathBuf};
use std::sync::Arc;

use parking_lot::RwLock;
use rustls::ServerConfig;
use rustls::crypto::CryptoProvider;
use rustls::pki_types::pem::PemObject;
use rustls::pki_types::{CertificateDer, PrivateKeyDer};
use rustls::server::{ClientHello, ResolvesServerCert};
use rustls::sign::CertifiedKey;

use super::outbound::tls_ready;
use super::service::Service;
use crate::base::Error;

/// Where the files are.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct TlsFiles {
    /// The certificate, followed by those that signed it, in PEM.
    pub certificate: PathBuf,
    /// Its private key, in PEM.
    pub key: PathBuf,
}

/// The pair of files as it was read.
struct Pair {
    bytes: (Vec<u8>, Vec<u8>),
    ready: Arc<CertifiedKey>,
}

/// The certificate in use.
pub struct Certificates {
    files: TlsFiles,
    in_use: Arc<InUse>,
}

struct InUse(RwLock<Pair>);

impl std::fmt::Debug for InUse {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        // A key must not get into a log.
        f.write_str("InUse")
    }
}

impl ResolvesServerCert for InUse {
    fn resolve(&self, _: ClientHello<'_>) -> Option<Arc<CertifiedKey>> {
        Some(Arc::clone(&self.0.read().ready))
    }
}

fn unusable(name: &'static str, path: &Path, why: impl std::fmt::Display) -> Error {
    Error::invalid(name, format!("{}: {why}", path.display()))
}

fn bytes_read(name: &'static str, path: &Path) -> Result<Vec<u8>, Error> {
    std::fs::read(path).map_err(|e| unusable(name, path, e))
}

/// Reads the pair; None when it is the one of `standing`.
fn pair_read(files: &TlsFiles, standing: Option<&Pair>) -> Result<Option<Pair>, Error> {
    const CERTIFICATE: &str = "HEELTAP_TLS_CERTIFICATE";
    const KEY: &str = "HEELTAP_TLS_KEY";
    let bytes = (
        bytes_read(CERTIFICATE, &files.certificate)?,
        bytes_read(KEY, &files.key)?,
    );
    if standing.is_some_and(|standing| standing.bytes == bytes) {
        return Ok(None);
    }
    let chain = CertificateDer::pem_slice_iter(&bytes.0)
        .collect::<Result<Vec<_>, _>>()
        .map_err(|e| unusable(CERTIFICATE, &files.certificate, format!("is no PEM: {e:?}")))?;
    if chain.is_empty() {
        let why = "holds no certificate in PEM";
        return Err(unusable(CERTIFICATE, &files.certificate, why));
    }
    let key = PrivateKeyDer::from_pem_slice(&bytes.1)
        .map_err(|_| unusable(KEY, &files.key, "holds no private key in PEM"))?;
    tls_ready();
    let provider = CryptoProvider::get_default()
        .ok_or_else(|| Error::internal("no cryptography was chosen"))?;
    let ready = CertifiedKey::from_der(chain, key, provider).map_err(|e| {
        unusable(
            KEY,
            &files.key,
            format!("does not fit the certificate: {e}"),
        )
    })?;
    Ok(Some(Pair {
        bytes,
        ready: Arc::new(ready),
    }))
}

impl Certificates {
    /// Reads the files.
    ///
    /// # Errors
    /// [`Error::Invalid`] at the setting whose file cannot be used.
    pub fn read(files: TlsFiles) -> Result<Self, Error> {
        let pair = pair_read(&files, None)?
            .ok_or_else(|| Error::internal("a pair was taken for the one before it"))?;
        Ok(Self {
            files,
            in_use: Arc::new(InUse(RwLock::new(pair))),
        })
    }

    /// How a server speaks TLS with what is in use at each moment.
    #[must_use]
    pub fn server(&self) -> ServerConfig {
        tls_ready();
        ServerConfig::builder()
            .with_no_client_auth()
            .with_cert_resolver(Arc::clone(&self.in_use) as _)
    }

    /// Reads the files again; whether they were renewed.
    ///
    /// # Errors
    /// As [`Certificates::read`]; then what was in use stays so.
    pub fn renew(&self) -> Result<bool, Error> {
        let renewed = pair_read(&self.files, Some(&self.in_use.0.read()))?;
        let is_new = renewed.is_some();
        if let Some(pair) = renewed {
            *self.in_use.0.write() = pair;
        }
        Ok(is_new)
    }
}

/// A worker's turn: takes renewed files.
///
/// # Errors
/// As [`Certificates::renew`].
pub fn certificates_turn(service: &Service) -> Result<(), Error> {
    let Some(certificates) = service.part::<Certificates>() else {
        return Ok(());
    };
    if certificates.renew()? {
        tracing::info!("the certificate was renewed");
    }
    Ok(())
}
