"""How fast blocks of samples come in through the station's session layer, against a bare socket in the same run."""

import argparse
import socket
import sys
from time import monotonic, perf_counter

import numpy as np
from block_server import block_of, codes_of, serving
from figures import Figure, print_figures

from station.bench.identity import Identity
from station.bench.scpi_session import ScpiSession
from station.bench.transcript import Transcript
from station.bench.visa import Wire
from station.clock import system_clock

SIZES = (1_000_000, 10_000_000, 50_000_000)     # bytes
REPEATS = {1_000_000: 60, 10_000_000: 60, 50_000_000: 10}
DEADLINE = 30.0     # s


def bare(port, count, size):
    """Return a reading of the block by `recv_into` on a plain socket, and what ends it."""
    connection = socket.create_connection(("127.0.0.1", port))

    def read():
        connection.sendall(b"TRAC?\n")
        head = connection.recv(size - 2 * count - 1, socket.MSG_WAITALL)
        codes = np.empty(count, dtype="<i2")
        view, filled = codes.data.cast("B"), 0
        while filled < len(view):
            filled += connection.recv_into(view[filled:])
        return codes if head[:1] == b"#" and connection.recv(1) == b"\n" else None
    return read, connection.close


def over_wire(resource, count):
    """Return the same through `Wire`, the seam to VISA."""
    wire = Wire(resource, monotonic, monotonic() + DEADLINE)

    def read():
        until = monotonic() + DEADLINE
        wire.send(b"TRAC?\n", until)
        wire.receive_exactly(2, until)
        wire.receive_exactly(len(str(2 * count)), until)
        codes = wire.receive_codes(count, until)
        return codes if wire.receive_exactly(1, until) == b"\n" else None
    return read, wire.close


def over_session(resource, count, *, transcript):
    """Return the same through a whole session: owner thread, error queue, and the transcript's SHA-256."""
    clock = system_clock()
    session = ScpiSession("digitizer", resource, Identity("PLANT", "BLOCKS", "B-1", "1"), clock, DEADLINE,
                          transcript=Transcript(clock) if transcript else None)
    return (lambda: session.ask_codes("TRAC?", count)), session.close


def ratios(size, repeats):
    """Figures of blocks of `size` bytes; ways are taken in turns, so that a busy machine slows them alike."""
    count = size // 2
    with serving(count) as (raw, hislip):
        addresses = f"TCPIP::127.0.0.1::{raw}::SOCKET", f"TCPIP::127.0.0.1::hislip0,{hislip}::INSTR"
        ways = {"bare": bare(raw, count, len(block_of(count))), "raw socket": over_wire(addresses[0], count),
                "HiSLIP": over_wire(addresses[1], count),
                "whole exchange": over_session(addresses[0], count, transcript=False),
                "whole exchange with SHA-256": over_session(addresses[0], count, transcript=True)}
        times = {name: [] for name in ways}
        wanted = codes_of(count)
        for name, (read, _) in ways.items():
            if not np.array_equal(read(), wanted):
                raise SystemExit(f"{name}: other codes than were sent")
        rng = np.random.default_rng(size)
        for _ in range(repeats):
            for name in rng.permutation(list(ways)):    # what one way leaves in the caches must not favour another
                start = perf_counter()
                ways[name][0]()
                times[name].append(perf_counter() - start)
        for _, close in ways.values():
            close()
    best = {name: min(each) for name, each in times.items()}
    bare_time = best["bare"]
    print(f"  {size / 1e6:g} MB: a bare recv_into takes {1e3 * bare_time:.2f} ms, {size / bare_time / 1e9:.2f} GB/s")
    least = {"raw socket": 0.9} if size == 10_000_000 else {}
    return [Figure(f"{size / 1e6:g} MB, {name} / bare throughput", bare_time / best[name],
                   _scatter(times["bare"], times[name]), least=least.get(name))
            for name in ways if name != "bare"]


def _scatter(bare_times, times, parts=4):
    """Return the standard error of the ratio of least times, from as many parts of the run by themselves."""
    pairs = zip(np.array_split(bare_times, parts), np.array_split(times, parts), strict=True)
    found = [part.min() / own.min() for part, own in pairs if own.size]
    return float(np.std(found, ddof=1) / np.sqrt(len(found))) if len(found) > 1 else 0.0


def latency(repeats):
    """Figures of short questions: the median time of *IDN? against a bare socket."""
    with serving(1) as (raw, hislip):
        plain = socket.create_connection(("127.0.0.1", raw))
        wires = {"raw socket": Wire(f"TCPIP::127.0.0.1::{raw}::SOCKET", monotonic, monotonic() + DEADLINE),
                 "HiSLIP": Wire(f"TCPIP::127.0.0.1::hislip0,{hislip}::INSTR", monotonic, monotonic() + DEADLINE)}

        def ask_plain():
            plain.sendall(b"*IDN?\n")
            plain.recv(4096)

        def ask(wire):
            until = monotonic() + DEADLINE
            wire.send(b"*IDN?\n", until)
            wire.receive_line(until)
        jobs = {"bare": ask_plain} | {name: lambda wire=wire: ask(wire) for name, wire in wires.items()}
        times = {name: [] for name in jobs}
        for _ in range(repeats):
            for name, job in jobs.items():
                start = perf_counter()
                job()
                times[name].append(perf_counter() - start)
        plain.close()
        for wire in wires.values():
            wire.close()
    median = {name: float(np.median(each)) for name, each in times.items()}
    print(f"  a short question takes {1e6 * median['bare']:.0f} us on a bare socket")
    return [Figure(f"short question, {name} / bare time", median[name] / median["bare"]) for name in wires]


def main(arguments=None):
    """Print the tables; return 1 if a figure is not met."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--trials", type=int, default=0, help="blocks of each size; 0: as many as each size needs")
    trials = parser.parse_args(arguments).trials
    print("\nThroughput over loopback, ratios within one run, server in another process")
    found = [figure for size in SIZES for figure in ratios(size, trials or REPEATS[size])]
    return print_figures("blocks and questions", found + latency(100 * trials or 2000))


if __name__ == "__main__":
    sys.exit(main())
