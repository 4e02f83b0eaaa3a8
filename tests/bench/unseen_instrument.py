"""A digitizer that the station's code has never seen: a plain socket server in a process of its own.

It imports nothing of the station. Its manual, in full:

  Lines end with CR. Every order is answered OK, or NO and a reason; there is no error queue.
  NAME                      Sampler of Ostrel Works, type S9, number 0042, issue c
  TEST                      0 when all is well
  SPAN c v / TELL SPAN c    whole input span of channel c (1 to 6) in mV
  EVERY t / TELL EVERY      time between samples in us
  TAKE n / TELL TAKE        samples of a record
  RUN, QUIT                 begins, gives up a record
  TELL STEP c, TELL ZERO c  mV per code, mV at code 0
  GIVE c n k                k samples of channel c from sample n on (the first is 1), at most 300 at once,
                            as #9, nine digits of length, signed bytes, and nothing after them

On channel c the record is 100 sin(2 pi k / 50 + c) in codes, k from 0.
"""

import contextlib
import math
import re
import socket
import struct
import sys
import time

MOST = 300


class Instrument:
    """State and the orders that change it."""

    def __init__(self):
        self.span = dict.fromkeys(range(1, 7), 1000.0)
        self.every, self.take, self.over_at = 100.0, 100, None

    def obey(self, line):
        words = line.split(" ")
        order = getattr(self, "on_" + words[0].lower(), None)
        if order is None:
            return b"NO such order\r\n"
        try:
            return order(*words[1:])
        except (KeyError, TypeError, ValueError):
            return b"NO such argument\r\n"

    def on_name(self):
        return b"Sampler of Ostrel Works, type S9, number 0042, issue c\r\n"

    def on_test(self):
        return b"0\r\n"

    def on_span(self, channel, volts):
        if not 10 <= float(volts) <= 200_000:
            return b"NO such span\r\n"
        self.span[self.channel(channel)] = float(volts)
        return b"OK\r\n"

    def on_every(self, microseconds):
        self.every = float(microseconds)
        return b"OK\r\n"

    def on_take(self, samples):
        self.take = int(samples)
        return b"OK\r\n"

    def on_run(self):
        self.over_at = time.monotonic() + self.take * self.every * 1e-6
        return b"OK\r\n"

    def on_quit(self):
        self.over_at = None
        return b"OK\r\n"

    def on_tell(self, what, channel="1"):
        mark = self.channel(channel)
        told = {"SPAN": f"{self.span[mark]:.3f} mV", "EVERY": f"{self.every:.4f} us", "TAKE": f"{self.take} samples",
                "STEP": f"{self.span[mark] / 256:.9f} mV", "ZERO": f"{3.0 * mark:.3f} mV"}[what]
        return told.encode() + b"\r\n"

    def on_give(self, channel, first, count):
        mark, begin, number = self.channel(channel), int(first) - 1, int(count)
        if self.over_at is None or time.monotonic() < self.over_at:
            return b"NO record\r\n"
        if number > MOST or begin < 0 or begin + number > self.take:
            return b"NO such samples\r\n"
        codes = [round(100 * math.sin(2 * math.pi * k / 50 + mark)) for k in range(begin, begin + number)]
        return b"#9%09d" % number + struct.pack(f"{number}b", *codes)

    def channel(self, text):
        return {str(number): number for number in self.span}[text]


def serve():
    instrument = Instrument()
    server = socket.create_server(("127.0.0.1", 0))
    sys.stdout.write(f"{server.getsockname()[1]}\n")
    sys.stdout.flush()
    while True:
        connection, _ = server.accept()
        with connection, contextlib.suppress(OSError):     # a client that goes away ends only its connection
            received = b""
            while chunk := connection.recv(4096):
                *lines, received = re.split(rb"\r\n?", received + chunk)
                for line in lines:
                    connection.sendall(instrument.obey(line.decode("ascii", "replace")))


if __name__ == "__main__":
    serve()
