//! A request for each message: POST, one at a time, in order, until it is answered with 2xx.
//!
//! `Idempotency-Key` is the message's identity, the same for each repeat. With a key the request is
//! signed, see [`signature`](crate::bridge::signature).

use super::{PATIENCE, Receiver};
use crate::bridge::message::Message;
use crate::bridge::signature;
use crate::bridge::trust;
use jiff::Timestamp;
use std::path::Path;
use std::sync::Arc;
use std::time::Duration;
use ureq::tls::{Certificate, RootCerts, TlsConfig};
use url::Url;

/// How much of a refusal is shown.
const SHOWN: usize = 200;

/// An HTTP address.
#[derive(Debug, Clone)]
pub struct Post {
    agent: ureq::Agent,
    url: Url,
    key: Option<Vec<u8>>,
    key_name: String,
    clock: fn() -> Timestamp,
}

impl Post {
    /// Posts to `url`, signed with `key` under the station's name. `ca` vouches for the receiver where
    /// no public authority does.
    ///
    /// # Errors
    /// When `ca` cannot be used.
    pub fn new(
        url: Url,
        key: Option<Vec<u8>>,
        ca: Option<&Path>,
        station: &str,
        clock: fn() -> Timestamp,
    ) -> Result<Self, String> {
        let roots = match ca {
            None => RootCerts::WebPki,
            Some(path) => {
                let own = trust::certificates(path)?;
                RootCerts::from(
                    own.iter().map(|own| Certificate::from_der(own).to_owned()).collect::<Vec<_>>(),
                )
            }
        };
        let tls = TlsConfig::builder()
            .root_certs(roots)
            .unversioned_rustls_crypto_provider(Arc::new(rustls::crypto::ring::default_provider()))
            .build();
        let agent = ureq::Agent::config_builder()
            .tls_config(tls)
            .timeout_connect(Some(Duration::from_secs(10)))
            .timeout_global(Some(PATIENCE))
            .http_status_as_error(false)
            // A signature holds for one address; who moves says so to people.
            .max_redirects(0)
            .max_redirects_will_error(false)
            .user_agent(concat!("fociline/", env!("CARGO_PKG_VERSION")))
            .build()
            .new_agent();
        Ok(Self { agent, url, key, key_name: station.to_owned(), clock })
    }

    fn post(&self, message: &Message) -> Result<(), String> {
        let mut request = self
            .agent
            .post(self.url.as_str())
            .content_type("application/json")
            .header("idempotency-key", &message.id);
        let content = message.json.as_bytes();
        if let Some(key) = &self.key {
            let (target, now) = (self.url.as_str(), (self.clock)());
            let signed = signature::sign(target, content, &message.id, now, &self.key_name, key);
            request = request
                .header("content-digest", &signed.digest)
                .header("signature-input", &signed.input)
                .header("signature", &signed.signature);
        }
        let mut answer = request.send(content).map_err(|why| format!("{}: {why}", self.url))?;
        let status = answer.status();
        if status.is_success() {
            return Ok(());
        }
        let said = answer.body_mut().with_config().limit(4096).lossy_utf8(true).read_to_string();
        let said: String =
            said.unwrap_or_default().lines().next().unwrap_or_default().chars().take(SHOWN).collect();
        Err(format!("entry {} was refused with {status}: {said:?}", message.seq))
    }
}

impl Receiver for Post {
    const SHOWS_ITSELF: bool = false;

    async fn open(&mut self) -> Result<(), String> {
        Ok(())
    }

    async fn deliver(&mut self, messages: &[Message], kept: &mut usize) -> Result<(), String> {
        for message in messages {
            let (post, message) = (self.clone(), message.clone());
            tokio::task::spawn_blocking(move || post.post(&message))
                .await
                .map_err(|why| why.to_string())??;
            *kept += 1;
        }
        Ok(())
    }
}
