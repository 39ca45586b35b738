//! The `host` table and addresses on the network: what loads, and what is said of what does not.

use fociline::station::settings::{Host, Settings, SettingsError};

fn load(keys: &str) -> Result<Settings, SettingsError> {
    let lab = crate::lab::Lab::new();
    let path = lab.path().join("station.toml");
    std::fs::write(&path, lab.settings(keys)).expect("written");
    Settings::load(&path)
        .map_err(|why| SettingsError(why.0.replace(&path.display().to_string(), "station.toml")))
}

#[test]
fn a_host_is_on_a_port_a_link_or_a_socket() {
    let host = |table: &str| {
        let settings =
            load(&format!("port = \"/dev/ttyS0\"\nbaud = 4800\nparity = \"even\"\nhost = {table}"))
                .expect(table);
        settings.instruments[0].host.clone().expect("a host")
    };
    let Host::Port(port) = host("{ port = \"/dev/ttyS1\", baud = 19200 }") else { panic!("a port") };
    assert_eq!(port.device.to_string(), "/dev/ttyS1");
    assert_eq!(port.baud, 19200, "its own");
    assert_eq!(
        port.get(fociline::station::line::Setting::Parity).to_string(),
        "parity = \"even\"",
        "the instrument's"
    );
    let Host::Link(link) = host("{ link = \"run/focimeter-1\" }") else { panic!("a link") };
    assert!(link.is_absolute() && link.ends_with("run/focimeter-1"), "{link:?}");
    let listen = host("{ listen = \"[::1]:4001\", rfc2217 = true }");
    assert_eq!(listen, Host::Listen { address: "[::1]:4001".parse().expect("an address"), rfc2217: true });
}

#[test]
fn what_is_no_host_is_said_with_its_line() {
    for (keys, said) in [
        ("host = {}", "station.toml:9: host: expected one of port"),
        ("host = { link = \"a\", listen = \"127.0.0.1:1\" }", "station.toml:9: host: expected one of port"),
        ("host = { listen = \"localhost:4001\" }", "station.toml:9: listen: expected an address and a port"),
        ("host = { listen = \"127.0.0.1:0\" }", "station.toml:9: listen: expected an address and a port"),
        ("host = { link = \"a\", rfc2217 = true }", "station.toml:9: rfc2217: expected listen"),
        ("host = { link = \"a\", baud = 9600 }", "station.toml:9: only a host on a port has line settings"),
        ("host = { port = \"/dev/ttyS0\" }", "station.toml:9: port \"/dev/ttyS0\" is used on line 8 already"),
        ("host = { port = \"/dev/ttyS1\", baud = 7 }", "station.toml:9: baud = 7: expected 50 to 4000000"),
        ("host = { link = \"..\" }", "station.toml:9: link: expected the path of a link"),
        ("host = { lnk = \"a\" }", "station.toml:9: unknown field `lnk`"),
        ("flow = \"software\"\nhost = { link = \"a\" }", "station.toml:9: flow = \"software\": between"),
        (
            "host = { link = \"a\" }\n[[instrument]]\nname = \"two\"\nlayout = \"tagged\"\nport = \"/dev/ttyS1\"\nhost = { link = \"a\" }",
            "station.toml:14: link \"a\" is used on line 9 already",
        ),
        (
            "host = { listen = \"127.0.0.1:9\" }\n[[instrument]]\nname = \"two\"\nlayout = \"tagged\"\nport = \"/dev/ttyS1\"\nhost = { listen = \"127.0.0.1:9\" }",
            "station.toml:14: listen \"127.0.0.1:9\" is used on line 9 already",
        ),
        (
            "host = { link = \"a\" }\n[[scanner]]\nname = \"focimeter-1 host\"\nport = \"/dev/ttyS1\"",
            "name \"focimeter-1 host\" is used on line",
        ),
        (
            "[[scanner]]\nname = \"s\"\nport = \"/dev/ttyS1\"\nhost = { link = \"a\" }",
            "station.toml:12: a scanner has no host",
        ),
    ] {
        let found = load(&format!("port = \"/dev/ttyS0\"\n{keys}")).expect_err(keys).to_string();
        assert!(found.contains(said), "{keys}\n{found}\nexpected: {said}");
    }
}

#[test]
fn ports_on_the_network_are_addresses() {
    for port in ["tcp://192.0.2.7:4001", "rfc2217://[2001:db8::7]:2217", "rfc2217://ports.lab.example:2217"] {
        let settings = load(&format!("port = \"{port}\"")).expect(port);
        assert_eq!(settings.instruments[0].port.device.to_string(), port);
    }
    for (keys, said) in [
        ("port = \"tcp://192.0.2.7\"", "station.toml:8: port: \"192.0.2.7\": expected host:port"),
        ("port = \"udp://192.0.2.7:1\"", "station.toml:8: port: udp:// is not known: expected a device"),
        ("port = \"\"", "station.toml:8: port: it is empty"),
        (
            "port = \"tcp://192.0.2.7:1\"\nbaud = 9600",
            "station.toml:9: a tcp:// port passes bytes and no line settings",
        ),
    ] {
        let found = load(keys).expect_err(keys).to_string();
        assert!(found.contains(said), "{found}\nexpected: {said}");
    }
}
