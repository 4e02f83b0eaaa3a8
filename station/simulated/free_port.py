"""Loopback ports for a bench that is served later: free now, and out of the way of everybody else."""

import socket
from contextlib import ExitStack, suppress
from random import SystemRandom

# Registered ports below those that operating systems hand out by themselves: 32768 to 60999 on Linux as installed,
# 49152 to 65535 by RFC 6335 section 6. One of those could be somebody's a moment after it was found free.
PORTS = range(20_000, 32_768)
TRIES = 1000


def free_ports(count: int) -> list[int]:
    """Return `count` different ports of 127.0.0.1 at which nobody listens, drawn anew at each call.

    They are to be written into files, so that nothing holds them until the bench is served.

    Raises
    ------
    OSError
        A thousand tries found too few.
    """
    with ExitStack() as held:
        found: list[int] = []
        for port in SystemRandom().sample(PORTS, TRIES):
            with suppress(OSError):
                held.enter_context(socket.create_server(("127.0.0.1", port)))
                found.append(port)
            if len(found) == count:
                return found
        raise OSError(f"no {count} free ports among {TRIES} of {PORTS.start} to {PORTS.stop - 1}")
