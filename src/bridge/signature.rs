//! Signing requests: RFC 9421 (HTTP Message Signatures) with `hmac-sha256` over the request's
//! method and address and the digest of its content (RFC 9530).
//!
//! A receiver builds the signature base from what it got and compares; the signature says when it
//! was made, so that an old request cannot be played again for long.

use base64::Engine;
use base64::engine::general_purpose::STANDARD;
use hmac::{Hmac, KeyInit, Mac};
use jiff::Timestamp;
use sha2::{Digest, Sha256};
use std::fmt::Write;

/// The header fields that a signed request carries.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Signed {
    /// `Content-Digest`.
    pub digest: String,
    /// `Signature-Input`.
    pub input: String,
    /// `Signature`.
    pub signature: String,
}

/// `Content-Digest` of a content (RFC 9530): `sha-256=:…:`.
pub fn content_digest(content: &[u8]) -> String {
    format!("sha-256=:{}:", STANDARD.encode(Sha256::digest(content)))
}

/// Signs a POST of `content` to `target`, at a time, under the name that the key has there. `id` is
/// what the field `Idempotency-Key` holds.
pub fn sign(target: &str, content: &[u8], id: &str, time: Timestamp, key_name: &str, key: &[u8]) -> Signed {
    let digest = content_digest(content);
    let covered = [
        ("@method", "POST"),
        ("@target-uri", target),
        ("content-digest", &digest),
        ("content-type", "application/json"),
        ("idempotency-key", id),
    ];
    let parameters = parameters(&covered, time.as_second(), key_name);
    let signature = mac(base(&covered, &parameters).as_bytes(), key);
    Signed { digest, input: format!("fociline={parameters}"), signature: format!("fociline=:{signature}:") }
}

/// `@signature-params` (RFC 9421, section 2.3).
fn parameters(covered: &[(&str, &str)], created: i64, key_name: &str) -> String {
    let names: Vec<String> = covered.iter().map(|(name, _)| format!("\"{name}\"")).collect();
    // A string of RFC 8941 holds printable ASCII alone.
    let key_name: String = key_name
        .chars()
        .map(|c| if matches!(c, ' '..='~') && !matches!(c, '"' | '\\') { c } else { '_' })
        .collect();
    format!("({});created={created};keyid=\"{key_name}\"", names.join(" "))
}

/// The signature base (RFC 9421, section 2.5).
fn base(covered: &[(&str, &str)], parameters: &str) -> String {
    let mut base = String::new();
    for (name, value) in covered {
        writeln!(base, "\"{name}\": {value}").expect("writing into a String cannot fail");
    }
    base + "\"@signature-params\": " + parameters
}

fn mac(base: &[u8], key: &[u8]) -> String {
    let mut mac = Hmac::<Sha256>::new_from_slice(key).expect("HMAC takes keys of any length");
    mac.update(base);
    STANDARD.encode(mac.finalize().into_bytes())
}

/// Compares secrets in a time that says nothing about them but their lengths.
pub(super) fn same(one: &[u8], other: &[u8]) -> bool {
    one.len() == other.len() && one.iter().zip(other).fold(0, |different, (a, b)| different | (a ^ b)) == 0
}

#[cfg(test)]
mod tests {
    use super::*;

    /// RFC 9421, appendix B.1.5 (the key), B.2 (the message) and B.2.5 (the signature).
    #[test]
    fn the_example_of_the_standard() {
        let key = STANDARD
            .decode(
                "uzvJfB4u3N0Jy4T7NZ75MDVcr8zSTInedJtkgcu46YW4XByzNJjxBdtjUkdJPBtbmHhIDi6pcl8jsasjlTMtDQ==",
            )
            .unwrap();
        let covered = [
            ("date", "Tue, 20 Apr 2021 02:07:55 GMT"),
            ("@authority", "example.com"),
            ("content-type", "application/json"),
        ];
        let parameters = parameters(&covered, 1_618_884_473, "test-shared-secret");
        assert_eq!(
            parameters,
            r#"("date" "@authority" "content-type");created=1618884473;keyid="test-shared-secret""#
        );
        assert_eq!(
            mac(base(&covered, &parameters).as_bytes(), &key),
            "pxcQw6G3AjtMBQjwo8XzkZf/bws5LelbaMk5rGIGtE8="
        );
    }

    /// RFC 9530, appendix D: the digest of `{"hello": "world"}` and a line feed.
    #[test]
    fn the_digest_of_the_standard() {
        assert_eq!(
            content_digest(b"{\"hello\": \"world\"}\n"),
            "sha-256=:RK/0qy18MlBSVnWgjwz6lZEWjP/lF5HF9bvEF8FabDg=:"
        );
    }

    #[test]
    fn what_is_covered_changes_the_signature() {
        let signed = |content: &[u8], id| {
            sign("https://a.example/x", content, id, Timestamp::UNIX_EPOCH, "bench-1", b"secret-secret")
                .signature
        };
        assert_eq!(signed(b"{}", "1"), signed(b"{}", "1"));
        assert_ne!(signed(b"{}", "1"), signed(b"[]", "1"));
        assert_ne!(signed(b"{}", "1"), signed(b"{}", "2"));
    }

    #[test]
    fn the_name_of_the_key_cannot_end_its_quotes() {
        assert_eq!(parameters(&[], 0, "a\"b\\cé\n"), r#"();created=0;keyid="a_b_c__""#);
    }
}
