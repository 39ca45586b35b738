"""A serial port behind the network, served by pyserial's RFC 2217 access server.

The port is made up: what is set on it is printed, and what it sends comes from standard input:
    send HEX    bytes from the instrument
    break       a break from the instrument (NOTIFY-LINESTATE, RFC 2217)
    lines CTS DSR CD RI     levels, each 0 or 1
"""

import select
import socket
import sys

import serial
import serial.rfc2217 as rfc2217


class Port:
    """The attributes that pyserial's access server uses of a port."""

    def __init__(self, only_baud):
        self.only_baud = only_baud
        self.cts = self.dsr = self.cd = self.ri = False
        self.values = dict(
            baudrate=1200, bytesize=8, parity="N", stopbits=1, xonxoff=False, rtscts=False,
            dtr=True, rts=True, break_condition=False,
        )

    def reset_input_buffer(self):
        pass

    def reset_output_buffer(self):
        pass


def setting(name):
    def get(self):
        return self.values[name]

    def put(self, value):
        if name == "baudrate" and self.only_baud and value != self.only_baud:
            raise ValueError("this port knows one speed")
        self.values[name] = value
        print(name, value, flush=True)

    return property(get, put)


for name in ("baudrate", "bytesize", "parity", "stopbits", "xonxoff", "rtscts", "dtr", "rts", "break_condition"):
    setattr(Port, name, setting(name))


class Connection:
    def __init__(self, sock):
        self.sock = sock

    def write(self, data):
        self.sock.sendall(data)


def main():
    only_baud = int(sys.argv[1]) if len(sys.argv) > 1 else None
    listener = socket.create_server(("127.0.0.1", 0))
    print("listening", listener.getsockname()[1], flush=True)
    while True:
        sock, _ = listener.accept()
        port = Port(only_baud)
        manager = rfc2217.PortManager(port, Connection(sock))
        print("connected", flush=True)
        serve(sock, port, manager)
        print("disconnected", flush=True)


def serve(sock, port, manager):
    while True:
        ready, _, _ = select.select([sock, sys.stdin.buffer.raw], [], [])
        if sock in ready:
            data = sock.recv(4096)
            if not data:
                return
            heard = b"".join(manager.filter(data))
            if heard:
                print("heard", heard.hex(), flush=True)
        if sys.stdin.buffer.raw in ready:
            line = b""
            while not line.endswith(b"\n"):
                byte = sys.stdin.buffer.raw.read(1)
                if not byte:
                    sys.exit()
                line += byte
            words = line.decode().split()
            if words[0] == "send":
                sock.sendall(b"".join(manager.escape(bytes.fromhex(words[1]))))
            elif words[0] == "break":
                manager.rfc2217_send_subnegotiation(rfc2217.SERVER_NOTIFY_LINESTATE, bytes([16]))
            elif words[0] == "lines":
                port.cts, port.dsr, port.cd, port.ri = (word == "1" for word in words[1:])
                manager.check_modem_lines()


if __name__ == "__main__":
    main()
