//! An MQTT 5 broker (OASIS MQTT Version 5.0), with quality of service 1.
//!
//! Below the topic in the settings, here `tarnvale/bench-1`:
//!
//! | topic | holds | retained |
//! |---|---|---|
//! | `tarnvale/bench-1/state` | `{"station":"bench-1","state":"running"}`, `stopped` at its end, `lost` as the last will | yes |
//! | `tarnvale/bench-1/reading/focimeter-1` | each reading, below its instrument | no |
//! | `tarnvale/bench-1/verdict/4471` | each verdict, below its job | no |
//! | `tarnvale/bench-1/KIND/…` | other kinds that the settings name, below their job or instrument, or `-` | no |
//!
//! A payload is a message as everywhere; its `id` is also the user property `id`. In a level of a topic
//! bytes other than letters, digits, `-`, `_` and `.` are written as `%` and two digits.

use super::files::plain;
use super::{PATIENCE, Receiver};
use crate::bridge::message::Message;
use crate::bridge::trust;
use crate::station::settings::feed::Broker;
use rumqttc::v5::mqttbytes::QoS;
use rumqttc::v5::mqttbytes::v5::{LastWill, Packet, PubAckReason, PublishProperties};
use rumqttc::v5::{AsyncClient, ConnectionError, Event, EventLoop, MqttOptions};
use rumqttc::{Outgoing, TlsConfiguration, Transport};
use rustls::{ClientConfig, RootCertStore};
use std::collections::VecDeque;
use std::path::Path;
use std::sync::Arc;
use std::time::Duration;
use tokio::sync::mpsc;
use tokio::task::JoinSet;
use tokio::time::timeout;

const KEEP_ALIVE: Duration = Duration::from_secs(10);
/// How many messages may be under way to the broker.
const UNDER_WAY: u16 = 64;

/// A broker.
pub struct Mqtt {
    options: MqttOptions,
    topic: String,
    station: String,
    session: Option<Session>,
}

/// A connection: a task of its own keeps it going, also while there is nothing to send.
struct Session {
    client: AsyncClient,
    events: mpsc::Receiver<Result<Event, ConnectionError>>,
    _task: JoinSet<()>,
}

impl Mqtt {
    /// A broker, for the feed `name` of a station.
    ///
    /// # Errors
    /// When the certificate that the settings name cannot be used.
    pub fn new(broker: &Broker, name: &str, station: &str) -> Result<Self, String> {
        let id = format!("fociline-{}-{}", plain(station), plain(name));
        let mut options = MqttOptions::new(id, &broker.host, broker.port);
        options
            .set_keep_alive(KEEP_ALIVE)
            // The ledger knows what has to be sent again, not the broker.
            .set_clean_start(true)
            .set_outgoing_inflight_upper_limit(UNDER_WAY)
            .set_last_will(LastWill::new(
                format!("{}/state", broker.topic),
                state(station, "lost"),
                QoS::AtLeastOnce,
                true,
                None,
            ));
        if let Some((user, password)) = &broker.login {
            options.set_credentials(user, password);
        }
        if broker.tls {
            let tls = TlsConfiguration::Rustls(Arc::new(tls(broker.ca.as_deref())?));
            options.set_transport(Transport::Tls(tls));
        }
        Ok(Self { options, topic: broker.topic.clone(), station: station.to_owned(), session: None })
    }

    fn published(&self, message: &Message) -> Publish {
        let below = message.job.as_ref().map(|job| job.as_str());
        let below = match message.kind {
            "reading" | "frame" | "port" => message.instrument.as_deref(),
            _ => below.or(message.instrument.as_deref()),
        };
        let below = below.map_or_else(|| "-".to_owned(), plain);
        Publish {
            topic: format!("{}/{}/{below}", self.topic, message.kind),
            payload: message.json.clone().into_bytes(),
            retain: false,
            id: Some(message.id.clone()),
        }
    }

    fn state(&self, says: &str) -> Publish {
        let payload = state(&self.station, says).into_bytes();
        Publish { topic: format!("{}/state", self.topic), payload, retain: true, id: None }
    }
}

fn state(station: &str, says: &str) -> String {
    serde_json::json!({ "station": station, "state": says }).to_string()
}

fn tls(ca: Option<&Path>) -> Result<ClientConfig, String> {
    let mut roots = RootCertStore::empty();
    match ca {
        None => roots.extend(webpki_roots::TLS_SERVER_ROOTS.iter().cloned()),
        Some(path) => {
            for certificate in trust::certificates(path)? {
                roots.add(certificate).map_err(|why| format!("ca: {}: {why}", path.display()))?;
            }
        }
    }
    ClientConfig::builder_with_provider(Arc::new(rustls::crypto::ring::default_provider()))
        .with_safe_default_protocol_versions()
        .map(|builder| builder.with_root_certificates(roots).with_no_client_auth())
        .map_err(|why| format!("no TLS: {why}"))
}

/// One thing to publish.
struct Publish {
    topic: String,
    payload: Vec<u8>,
    retain: bool,
    id: Option<String>,
}

impl Session {
    fn new(options: MqttOptions) -> Self {
        let (client, mut event_loop) = AsyncClient::new(options, usize::from(UNDER_WAY));
        let (send, events) = mpsc::channel(usize::from(UNDER_WAY));
        let mut task = JoinSet::new();
        task.spawn(async move { forward(&mut event_loop, send).await });
        Self { client, events, _task: task }
    }

    /// Publishes in order, and counts in `kept` those that the broker has taken.
    async fn publish(&mut self, all: impl Iterator<Item = Publish>, kept: &mut usize) -> Result<(), String> {
        let (client, events) = (&self.client, &mut self.events);
        let (told, mut count) = tokio::sync::oneshot::channel();
        let sent = async move {
            let mut count = 0;
            for Publish { topic, payload, retain, id } in all {
                let properties = PublishProperties {
                    content_type: Some("application/json".to_owned()),
                    payload_format_indicator: Some(1),
                    user_properties: id.map(|id| ("id".to_owned(), id)).into_iter().collect(),
                    ..PublishProperties::default()
                };
                client
                    .publish_with_properties(topic, QoS::AtLeastOnce, retain, payload, properties)
                    .await
                    .map_err(|_| "the connection has ended".to_owned())?;
                count += 1;
            }
            // The other side of this pair waits for it.
            let _ = told.send(count);
            Ok(())
        };
        let taken = async {
            let (mut under_way, mut total) = (VecDeque::new(), None);
            let mut taken = 0;
            while total != Some(taken) {
                let event = tokio::select! {
                    event = next(events) => event?,
                    count = &mut count, if total.is_none() => {
                        total = Some(count.map_err(|_| "nothing more is sent".to_owned())?);
                        continue;
                    }
                };
                match event {
                    Event::Outgoing(Outgoing::Publish(id)) => under_way.push_back((id, false)),
                    Event::Incoming(Packet::PubAck(ack)) => {
                        let good = [PubAckReason::Success, PubAckReason::NoMatchingSubscribers];
                        if !good.contains(&ack.reason) {
                            return Err(format!("the broker refused a message: {:?}", ack.reason));
                        }
                        if let Some((_, done)) =
                            under_way.iter_mut().find(|(id, done)| *id == ack.pkid && !done)
                        {
                            *done = true;
                        }
                        while under_way.front().is_some_and(|(_, done)| *done) {
                            under_way.pop_front();
                            taken += 1;
                            *kept = taken;
                        }
                    }
                    _ => {}
                }
            }
            Ok(())
        };
        tokio::try_join!(sent, taken).map(drop)
    }
}

async fn forward(event_loop: &mut EventLoop, send: mpsc::Sender<Result<Event, ConnectionError>>) {
    loop {
        let event = event_loop.poll().await;
        // It would connect anew by itself; here a connection that is lost is over.
        let over = event.is_err();
        if send.send(event).await.is_err() || over {
            return;
        }
    }
}

async fn next(events: &mut mpsc::Receiver<Result<Event, ConnectionError>>) -> Result<Event, String> {
    match timeout(PATIENCE, events.recv()).await {
        Err(_) => Err(format!("the broker said nothing for {} seconds", PATIENCE.as_secs())),
        Ok(None) => Err("the connection has ended".to_owned()),
        Ok(Some(event)) => match event {
            Ok(Event::Incoming(Packet::Disconnect(why))) => {
                Err(format!("the broker ended the connection: {:?}", why.reason_code))
            }
            Ok(event) => Ok(event),
            Err(ConnectionError::ConnectionRefused(why)) => {
                Err(format!("the broker refused the connection: {why:?}"))
            }
            Err(ConnectionError::Io(why)) => Err(format!("no connection to the broker ({why})")),
            Err(why) => Err(format!("no connection to the broker: {why}")),
        },
    }
}

impl Receiver for Mqtt {
    async fn open(&mut self) -> Result<(), String> {
        self.session = None;
        let mut session = Session::new(self.options.clone());
        while !matches!(next(&mut session.events).await?, Event::Incoming(Packet::ConnAck(_))) {}
        session.publish(std::iter::once(self.state("running")), &mut 0).await?;
        self.session = Some(session);
        Ok(())
    }

    async fn deliver(&mut self, messages: &[Message], kept: &mut usize) -> Result<(), String> {
        let all: Vec<Publish> = messages.iter().map(|message| self.published(message)).collect();
        let session = self.session.as_mut().ok_or("it is not connected")?;
        session.publish(all.into_iter(), kept).await
    }

    async fn idle(&mut self) -> String {
        let Some(session) = self.session.as_mut() else { return "it is not connected".to_owned() };
        loop {
            // Pings keep events coming, so that silence says that the broker is gone.
            if let Err(why) = next(&mut session.events).await {
                return why;
            }
        }
    }

    async fn close(&mut self) {
        let stopped = self.state("stopped");
        let Some(session) = self.session.as_mut() else { return };
        // Otherwise the broker says `lost`, which is as true.
        if session.publish(std::iter::once(stopped), &mut 0).await.is_ok()
            && session.client.disconnect().await.is_ok()
        {
            while next(&mut session.events)
                .await
                .is_ok_and(|event| event != Event::Outgoing(Outgoing::Disconnect))
            {}
        }
    }
}
