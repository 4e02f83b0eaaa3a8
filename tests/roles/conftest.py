"""The embedded bench behind the station's own drivers, over real loopback sockets."""

from contextlib import contextmanager
from datetime import date
from pathlib import Path

import pytest

import station.simulated.bench as bench_module
import station.simulated.lot as lot_module
from station.bench.bench import open_bench
from station.bench.bench_file import parse_bench
from station.bench.roles import ROLES
from station.bench.starter import MODELS, embedded_bench_toml
from station.clock import system_clock
from station.simulated.bench import SimulatedBench
from station.simulated.lot import load_lot
from station.simulated.rig import Rig
from station.toml_file import parse_toml

LOT = Path(lot_module.__file__).with_name("demo_lot.toml")
PACE = 20.0
# "" is the SCPI of the embedded instruments over raw sockets.
TONGUES = ("", "hislip", *bench_module.TONGUES)
SPEAKERS = [role for role in ROLES if role != "drive"]


@contextmanager
def opened(edit=lambda text: text, calibrated=date(2026, 9, 1), due=date(2099, 1, 1), drive="scpi", tongue="",
           digitizers="six channels"):
    """Yield (bench, rig, served, clock), the bench file changed by `edit`, with the SCPI or the Modbus drive.

    The other roles speak `tongue`; "hislip" is the SCPI of all of them, carried by HiSLIP.
    """
    clock = system_clock()
    rig = Rig(load_lot(LOT), seed=7, pace=PACE)
    over_hislip = dict.fromkeys(ROLES, 0) if tongue == "hislip" else {}
    spoken = "" if over_hislip else tongue
    with SimulatedBench(rig, dict.fromkeys(ROLES, 0), hislip_ports=over_hislip, drive=drive,
                        tongues=dict.fromkeys(SPEAKERS, spoken), digitizers=digitizers) as served:
        text = in_tongue(edit(embedded_bench_toml(served.ports, calibrated, due, drive, digitizers)), spoken)
        for role, port in served.hislip_ports.items():
            text = text.replace(f"127.0.0.1::{served.ports[role]}::SOCKET", f"127.0.0.1::hislip0,{port}::INSTR")
        file = parse_bench(parse_toml(text.encode(), "bench.toml"), Path())
        with open_bench(file, clock) as bench:
            yield bench, rig, served, clock


def in_tongue(text, tongue):
    """Return the bench file with the identities and shipped dialects of `tongue`."""
    for role in SPEAKERS if tongue else []:
        model = MODELS[role][0]
        text = text.replace(f'"embedded_{role}"', f'"{tongue}_{role}"')
        text = text.replace(f'"{model}"', f'"{model} {tongue.upper()}"')
    return text


@pytest.fixture(params=TONGUES, ids=lambda tongue: tongue or "scpi")
def tongue(request):
    """Every tongue in turn: each role must come out the same whatever its instrument speaks."""
    return request.param


@pytest.fixture
def station(tongue):
    """The bench with a good motor in the fixture, guard closed, nobody at START."""
    with opened(tongue=tongue) as (bench, rig, served, clock):
        rig.place("CP40-0001")
        yield bench, rig, served, clock


@pytest.fixture
def started(station):
    """The same with START pressed."""
    bench, rig, *_ = station
    bench.guard.arm()
    rig.press_start()
    return station


@pytest.fixture
def wait_until():
    """Poll until reached; fail loudly when that never comes."""
    def wait(reached, clock, seconds=20.0):
        end = clock.monotonic() + seconds
        while not reached():
            assert clock.monotonic() < end, "never reached"
            clock.pause(0.005)
    return wait


@pytest.fixture
def open_embedded():
    """`opened`, for tests that change the bench file."""
    return opened
