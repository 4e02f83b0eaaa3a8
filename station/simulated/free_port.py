"""Loopback ports for a bench that is served later: free now, and out of the way of everybody else."""

import os
import socket
from contextlib import ExitStack, suppress
from random import SystemRandom

# Registered ports below those that operating systems hand out by themselves: 32768 to 60999 on Linux as installed,
# 49152 to 65535 by RFC 6335 section 6. One of those could be somebody's a moment after it was found free.
PORTS = range(20_000, 32_768)
SHARES = 16     # of processes, told by their numbers: none that looks meanwhile takes what another has written down


def free_ports(count: int) -> list[int]:
    """Return `count` different ports of 127.0.0.1 at which nobody listens, drawn anew at each call.

    They are to be written into files, so that nothing holds them until the bench is served.

    Raises
    ------
    OSError
        There are too few.
    """
    with ExitStack() as held:
        found: list[int] = []
        own = PORTS[os.getpid() % SHARES::SHARES]
        for port in SystemRandom().sample(own, len(own)):
            with suppress(OSError):
                held.enter_context(socket.create_server(("127.0.0.1", port)))
                found.append(port)
            if len(found) == count:
                return found
        raise OSError(f"no {count} free ports among {len(own)} from {own[0]} to {own[-1]}")
