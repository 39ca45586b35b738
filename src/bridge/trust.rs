//! Whom to believe who a receiver is: the public authorities, or the lab's own certificate.

use rustls::pki_types::CertificateDer;
use rustls::pki_types::pem::PemObject;
use std::path::Path;

/// The certificates in a PEM file.
pub(super) fn certificates(path: &Path) -> Result<Vec<CertificateDer<'static>>, String> {
    let expected =
        |why: String| format!("ca: {}: {why}; expected a PEM file with a certificate", path.display());
    let found = CertificateDer::pem_file_iter(path)
        .and_then(Iterator::collect::<Result<Vec<_>, _>>)
        .map_err(|why| expected(why.to_string()))?;
    if found.is_empty() {
        return Err(expected("there is none in it".to_owned()));
    }
    Ok(found)
}
