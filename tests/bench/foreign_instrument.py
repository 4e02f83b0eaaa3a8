"""A digitizer served by a package that nobody here wrote, over TCP and at a pseudo-terminal; a process of its own.

It prints its TCP port and serves until it is ended. Usage: foreign_instrument.py LINK, where LINK is the path
that the pseudo-terminal gets.
"""

import sys

import gevent
from sinstruments.simulator import BaseDevice, Server

CODES = b"".join((i % 65536 - 32768).to_bytes(2, "little", signed=True) for i in range(0, 65536 * 3, 7))
SHORT = CODES[:3000]     # what a pseudo-terminal takes at once; the package drops the rest
ANSWERS = {b"*IDN?": b"SINSTRUMENTS,FOREIGN,F-1,1\n", b"*TST?": b"0\n", b"SYST:ERR?": b'0,"No error"\n',
           b"MEAS?": b"+1.25000000E+00\n",
           b"TRAC?": b"#" + str(len(str(len(CODES)))).encode() + str(len(CODES)).encode() + CODES + b"\n",
           b"TRAC:SHOR?": b"#43000" + SHORT + b"\n"}


class Foreign(BaseDevice):
    """Answers what it knows and keeps silent otherwise."""

    def handle_message(self, message):
        return ANSWERS.get(message.strip())


def main(link):
    device = {"class": "Foreign", "package": "__main__", "name": "foreign",
              "transports": [{"type": "tcp", "url": ("127.0.0.1", 0)}, {"type": "serial", "url": link}]}
    server = Server([device])
    tasks = server.start()
    tcp = server.get_device_by_name("foreign").transports[0]
    while not tcp.started:
        gevent.sleep(0.01)
    sys.stdout.write(f"{tcp.address[1]}\n")
    sys.stdout.flush()
    gevent.joinall(tasks)


if __name__ == "__main__":
    main(sys.argv[1])
