"""A host that uses a port through pyserial's RFC 2217 client; what it does comes from standard input.

    send HEX | read N | set NAME VALUE | get NAME | break | close
"""

import sys
import time

import serial
import serial.rfc2217 as rfc2217


def main():
    host = serial.serial_for_url(f"rfc2217://{sys.argv[1]}", baudrate=int(sys.argv[2]), timeout=30)
    # Breaks are told on demand (RFC 2217, SET-LINESTATE-MASK).
    host.rfc2217_send_subnegotiation(rfc2217.SET_LINESTATE_MASK, bytes([16]))
    print("open", flush=True)
    for line in sys.stdin:
        words = line.split()
        if words[0] == "send":
            host.write(bytes.fromhex(words[1]))
            print("sent", flush=True)
        elif words[0] == "read":
            data = host.read(int(words[1]))
            print("read", data.hex(), flush=True)
        elif words[0] == "set":
            value = words[2] if words[1] == "parity" else int(words[2])
            try:
                setattr(host, words[1], value)
                print("set", words[1], flush=True)
            except ValueError as why:
                print("refused", why, flush=True)
        elif words[0] == "get":
            print("is", words[1], int(getattr(host, words[1])), flush=True)
        elif words[0] == "break":
            host.send_break(0.05)
            print("sent", flush=True)
        elif words[0] == "heard_break":
            until = time.monotonic() + 30
            while not (host._linestate & 16) and time.monotonic() < until:
                time.sleep(0.01)
            print("break" if host._linestate & 16 else "none", flush=True)
        elif words[0] == "close":
            host.close()
            print("closed", flush=True)


if __name__ == "__main__":
    main()
