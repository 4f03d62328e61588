"""A port server by RFC 2217, with the implementation of python3-serial: what came to control the port is printed, a line each, and octets
are carried to and from the TCP address of the first argument. The first line printed is the port on which it listens."""
import select
import socket
import sys

import serial
import serial.rfc2217


class Port:
    """Says what is done to it."""

    def __init__(self):
        object.__setattr__(self, "values", {"baudrate": 9600, "bytesize": 8, "parity": "N", "stopbits": 1, "rtscts": False, "xonxoff": False,
                                            "dtr": True, "rts": True, "cts": True, "dsr": True, "ri": False, "cd": True, "break_condition": False})

    def __getattr__(self, name):
        return self.values[name]

    def __setattr__(self, name, value):
        self.values[name] = value
        print(name, value, flush=True)

    def reset_input_buffer(self):
        print("purge", flush=True)

    reset_output_buffer = reset_input_buffer


class Net:
    def __init__(self, conn):
        self.conn = conn

    def write(self, data):
        self.conn.sendall(data)


host, _, number = sys.argv[1].rpartition(":")
listener = socket.create_server(("127.0.0.1", 0))
print(listener.getsockname()[1], flush=True)
conn, _ = listener.accept()
line = socket.create_connection((host, int(number)))
manager = serial.rfc2217.PortManager(Port(), Net(conn))
while True:
    ready, _, _ = select.select([conn, line], [], [])
    for s in ready:
        data = s.recv(4096)
        if not data:
            sys.exit()
        if s is conn:
            line.sendall(b"".join(manager.filter(data)))
        else:
            conn.sendall(b"".join(manager.escape(data)))
