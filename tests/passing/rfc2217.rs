//! RFC 2217 against pyserial's implementation of it: its access server as the far port of an
//! instrument, and its client as the host.

use crate::common::{Adapter, Station, wait_for};
use crate::lab::{Chance, Lab, Tool, free_address, from_hex, hex};
use std::io::{Read, Write};
use std::net::TcpListener;

/// The far port, and a station whose instrument hangs on it.
fn started(lab: &Lab, more: &str) -> (Tool, Station) {
    let mut port = Tool::start("rfc2217_port.py", &[]);
    let number = port.line("listening");
    let mut station = lab.start(&format!("port = \"rfc2217://127.0.0.1:{number}\"\n{more}"));
    station.line(&["focimeter-1: port open"]);
    (port, station)
}

fn with_host(lab: &Lab) -> (Tool, Station, Tool) {
    let address = free_address();
    let more = format!("baud = 4800\nhost = {{ listen = \"{address}\", rfc2217 = true }}");
    let (mut port, mut station) = started(lab, &more);
    port.line("connected");
    wait_for("a listener", || std::net::TcpStream::connect(&address).ok());
    station.line(&["focimeter-1 host: PORT LOST"]);
    let mut host = Tool::start("rfc2217_host.py", &[&address, "4800"]);
    host.line("open");
    station.line(&["focimeter-1 host: port open"]);
    (port, station, host)
}

/// What the far port heard until there are so many bytes.
fn heard(port: &mut Tool, count: usize) -> Vec<u8> {
    let mut bytes = Vec::new();
    while bytes.len() < count {
        bytes.extend(from_hex(&port.line("heard")));
    }
    bytes
}

#[test]
fn the_line_of_a_far_port_is_set_as_the_settings_say() {
    let lab = Lab::new();
    let more = "baud = 4800\ndata_bits = 7\nparity = \"even\"\nstop_bits = 2\nflow = \"hardware\"";
    let (mut port, mut station) = started(&lab, more);
    for set in ["baudrate 4800", "bytesize 7", "parity E", "stopbits 2", "rtscts True"] {
        port.line(set);
    }
    port.say(&format!("send {}", hex(b"JOB=4471 EYE=R S=-1.25\r\n")));
    station.line(&["4471"]);
    assert!(station.stop().success());
    port.line("disconnected");
}

#[test]
fn what_a_far_port_refuses_is_said() {
    let lab = Lab::new();
    let mut port = Tool::start("rfc2217_port.py", &["1200"]);
    let number = port.line("listening");
    let mut station = lab.start(&format!("port = \"rfc2217://127.0.0.1:{number}\"\nbaud = 4800"));
    station.line(&[
        "focimeter-1: no port: cannot be opened: the far end refuses baud = 4800: it answers baud = 1200",
    ]);
    assert!(station.stop().success());
}

#[test]
fn a_far_end_that_does_not_speak_it_is_said() {
    let lab = Lab::new();
    let listener = TcpListener::bind("127.0.0.1:0").expect("binds");
    let mut station = lab.start(&format!("port = \"rfc2217://{}\"", listener.local_addr().expect("bound")));
    let (mut silent, _) = listener.accept().expect("the station connects");
    station.line(&["focimeter-1: no port: cannot be opened: the far end does not speak RFC 2217", "tcp://"]);
    // This one speaks telnet, and refuses: IAC DONT COM-PORT-OPTION (RFC 855).
    let (mut refusing, _) = listener.accept().expect("the station connects again");
    refusing.write_all(&[255, 254, 44]).expect("writes");
    station.line(&["focimeter-1: no port: cannot be opened: the far end refuses RFC 2217"]);
    let mut offered = Vec::new();
    silent.read_to_end(&mut offered).expect("reads");
    assert!(offered.windows(3).any(|three| three == [255, 251, 44]), "IAC WILL COM-PORT-OPTION: {offered:?}");
    assert!(station.stop().success());
}

#[test]
fn the_lines_that_a_layout_sets_are_set_at_the_far_port() {
    let lab = Lab::new();
    let layout = "name = \"polite\"\ntitle = \"Polite\"\n[frame]\nend = \"any newline\"\n\
                  [talk]\nask = \"<ENQ>\"\nask_every_ms = 200\ndtr = false\nrts = true\n\
                  [[line]]\nform = \"delimited\"\nseparator = \",\"\n[[line.field]]\nis = \"job\"\n\
                  [[line.field]]\nis = \"sphere\"\neye = \"right\"\n";
    std::fs::write(lab.path().join("polite.toml"), layout).expect("written");
    let mut port = Tool::start("rfc2217_port.py", &[]);
    let number = port.line("listening");
    let settings = lab.settings(&format!("port = \"rfc2217://127.0.0.1:{number}\""));
    let mut station = Station::start(lab.path(), &settings.replace("\"tagged\"", "\"polite.toml\""));
    station.line(&["focimeter-1: port open"]);
    port.line("dtr False");
    port.line("rts True");
    assert_eq!(heard(&mut port, 1)[0], 5, "it is asked");
    assert!(station.stop().success());
}

#[test]
fn every_byte_passes_between_a_far_port_and_a_far_host() {
    let lab = Lab::new();
    let (mut port, mut station, mut host) = with_host(&lab);
    let (sent, asked) = (Chance(7).bytes(6000), Chance(11).bytes(6000));
    for (sent, asked) in sent.chunks(500).zip(asked.chunks(500)) {
        port.say(&format!("send {}", hex(sent)));
        host.say(&format!("send {}", hex(asked)));
        host.line("sent");
        assert!(from_hex(&host.ask(&format!("read {}", sent.len()), "read")) == sent);
        assert!(heard(&mut port, asked.len()) == asked);
    }
    assert!(station.stop().success());
    assert!(lab.recorded() == sent);
    assert!(lab.said() == (asked, vec![]));
    assert_eq!(lab.gaps(), []);
    lab.ledger_agrees();
}

#[test]
fn settings_lines_and_breaks_travel_to_the_far_port() {
    let lab = Lab::new();
    let (mut port, mut station, mut host) = with_host(&lab);
    host.ask("set baudrate 19200", "set baudrate");
    port.line("baudrate 19200");
    host.ask("set bytesize 7", "set bytesize");
    port.line("bytesize 7");
    host.ask("set parity O", "set parity");
    port.line("parity O");
    host.ask("set stopbits 2", "set stopbits");
    port.line("stopbits 2");
    host.ask("set rtscts 1", "set rtscts");
    port.line("rtscts True");
    // Marks as parity are nothing that this station's lines have: it stays as it is.
    assert!(host.ask("set parity M", "refused").contains("parity"));
    host.ask("set dtr 0", "set dtr");
    port.line("dtr False");
    host.ask("set rts 0", "set rts");
    port.line("rts False");
    host.ask("set rts 1", "set rts");
    port.line("rts True");
    host.ask("break", "sent");
    port.line("break_condition True");
    port.line("break_condition False");
    wait_for("the log", || station.log().contains("baud = 19200").then_some(()));
    assert!(station.stop().success());
}

/// The same with a tty of this computer: what it cannot be is refused. A pseudo-terminal has a speed
/// and stop bits, and no parity (pty(7): what is set of the rest is not kept).
#[test]
fn a_tty_is_set_as_a_far_host_asks() {
    let lab = Lab::new();
    let adapter = Adapter::plugged(lab.path().join("port"));
    let address = free_address();
    let mut station = lab.start(&format!(
        "port = \"{}\"\nhost = {{ listen = \"{address}\", rfc2217 = true }}",
        adapter.path.display()
    ));
    station.line(&["focimeter-1: port open"]);
    let mut host = Tool::start("rfc2217_host.py", &[&address, "4800"]);
    host.line("open");
    let mut instrument = adapter.pty.as_ref().expect("plugged").end();
    let speed = || rustix::termios::tcgetattr(instrument).expect("tells").output_speed();
    assert_eq!(speed(), 4800, "as it was opened with");
    host.ask("set baudrate 19200", "set baudrate");
    assert_eq!(speed(), 19200, "before it is confirmed");
    assert!(host.ask("set parity E", "refused").contains("parity"));
    assert_eq!(host.ask("get cts", "is"), "cts 1", "a line without modem lines counts as ready");
    // Marks are taken out after a change too, and breaks leave no byte behind.
    let sent = Chance(7).bytes(2000);
    host.ask("break", "sent");
    instrument.write_all(&sent).expect("writes");
    assert!(from_hex(&host.ask("read 2000", "read")) == sent);
    host.ask(&format!("send {}", hex(&sent)), "sent");
    assert!(crate::lab::read(&mut instrument, 2000) == sent);
    assert!(station.stop().success());
    assert!(lab.recorded() == sent);
}

#[test]
fn a_setting_that_the_far_port_refuses_is_refused_to_the_host() {
    let lab = Lab::new();
    let mut port = Tool::start("rfc2217_port.py", &["4800"]);
    let number = port.line("listening");
    let address = free_address();
    let mut station = lab.start(&format!(
        "port = \"rfc2217://127.0.0.1:{number}\"\nbaud = 4800\nhost = {{ listen = \"{address}\", rfc2217 = true }}"
    ));
    station.line(&["focimeter-1: port open"]);
    let mut host = Tool::start("rfc2217_host.py", &[&address, "4800"]);
    host.line("open");
    assert!(host.ask("set baudrate 9600", "refused").contains("baudrate"));
    assert!(station.stop().success());
}

#[test]
fn lines_and_breaks_of_the_far_port_are_shown_to_the_host() {
    let lab = Lab::new();
    let (mut port, mut station, mut host) = with_host(&lab);
    let mut shows = |lines: &str, name: &str, level: &str| {
        port.say(&format!("lines {lines}"));
        wait_for(name, || {
            (host.ask(&format!("get {name}"), "is") == format!("{name} {level}")).then_some(())
        });
    };
    shows("1 0 0 0", "cts", "1");
    shows("1 1 0 0", "dsr", "1");
    shows("1 1 1 0", "cd", "1");
    shows("0 1 1 0", "cts", "0");
    port.say("break");
    assert_eq!(host.ask("heard_break", "break"), "");
    assert!(station.stop().success());
}

/// A host that comes back finds the lines as they are, without their changing again.
#[test]
fn a_host_that_comes_back_finds_lines_and_settings_as_they_are() {
    let lab = Lab::new();
    let (mut port, mut station, mut host) = with_host(&lab);
    port.say("lines 1 1 0 0");
    wait_for("cts", || (host.ask("get cts", "is") == "cts 1").then_some(()));
    host.ask("set baudrate 19200", "set baudrate");
    host.ask("close", "closed");
    station.line(&["focimeter-1 host: PORT LOST"]);
    drop(host);
    let address = wait_for("the address", || {
        let text = std::fs::read_to_string(lab.path().join("station.toml")).ok()?;
        Some(text.split("listen = \"").nth(1)?.split('"').next()?.to_owned())
    });
    let mut host = Tool::start("rfc2217_host.py", &[&address, "19200"]);
    host.line("open");
    wait_for("cts", || (host.ask("get cts", "is") == "cts 1").then_some(()));
    assert!(station.stop().success());
}
