//! The certificate that the page is served with.

use super::PageError;
use crate::station::settings::{Page, Tls};
use axum_server::tls_rustls::RustlsConfig;
use rcgen::{CertificateParams, DnType, KeyPair};
use rustls::ServerConfig;
use rustls::crypto::ring;
use rustls::pki_types::pem::PemObject;
use rustls::pki_types::{CertificateDer, PrivateKeyDer};
use std::fs::OpenOptions;
use std::io::{self, Write};
use std::os::unix::fs::OpenOptionsExt;
use std::path::Path;
use std::sync::Arc;

/// Loads the certificate and its key; makes them first where the station has its own and there
/// are none yet.
///
/// # Errors
/// When they cannot be read, do not fit each other, or cannot be made.
pub fn load(tls: &Tls, page: &Page) -> Result<RustlsConfig, PageError> {
    if tls.own && !tls.key.exists() {
        let made = make(page).map_err(|why| PageError(format!("no certificate can be made: {why}")))?;
        write(&tls.key, made.key.as_bytes(), 0o600)?;
        write(&tls.certificate, made.certificate.as_bytes(), 0o644)?;
        tracing::info!(certificate = %tls.certificate.display(), "made a certificate; browsers ask once whether to trust it");
    }
    let unreadable = |path: &Path, why: rustls::pki_types::pem::Error| {
        PageError(format!("{}: cannot be used: {why}; expected a PEM file", path.display()))
    };
    let certificates = CertificateDer::pem_file_iter(&tls.certificate)
        .and_then(Iterator::collect::<Result<Vec<_>, _>>)
        .map_err(|why| unreadable(&tls.certificate, why))?;
    let key = PrivateKeyDer::from_pem_file(&tls.key).map_err(|why| unreadable(&tls.key, why))?;
    let config = ServerConfig::builder_with_provider(Arc::new(ring::default_provider()))
        .with_safe_default_protocol_versions()
        .map(|builder| builder.with_no_client_auth())
        .and_then(|builder| builder.with_single_cert(certificates, key));
    let mut config = config.map_err(|why| {
        PageError(format!(
            "{} and {}: cannot be used together: {why}",
            tls.certificate.display(),
            tls.key.display()
        ))
    })?;
    config.alpn_protocols = vec![b"http/1.1".to_vec()];
    Ok(RustlsConfig::from_config(Arc::new(config)))
}

struct Made {
    certificate: String,
    key: String,
}

/// A certificate for the names and the address that the page is reached by, signed by itself.
fn make(page: &Page) -> Result<Made, rcgen::Error> {
    let mut names = page.names.clone();
    names.push("localhost".to_owned());
    if !page.listen.ip().is_unspecified() {
        names.push(page.listen.ip().to_string());
    }
    let mut params = CertificateParams::new(names)?;
    params.distinguished_name.push(DnType::CommonName, "fociline station");
    let key = KeyPair::generate()?;
    Ok(Made { certificate: params.self_signed(&key)?.pem(), key: key.serialize_pem() })
}

fn write(path: &Path, bytes: &[u8], mode: u32) -> Result<(), PageError> {
    let write = || -> io::Result<()> {
        let mut file = OpenOptions::new().write(true).create(true).truncate(true).mode(mode).open(path)?;
        file.write_all(bytes)?;
        file.sync_all()
    };
    write().map_err(|why| PageError(format!("{}: {why}", path.display())))
}
