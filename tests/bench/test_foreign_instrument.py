"""The session layer against an instrument served by a package that nobody here wrote."""

import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from station.bench.identity import Identity
from station.bench.scpi_session import ScpiSession
from station.clock import system_clock
from station.errors import BenchNotFitError, NoReplyError

SERVER = Path(__file__).with_name("foreign_instrument.py")
IDENTITY = Identity("SINSTRUMENTS", "FOREIGN", "F-1", "1")
COUNT = -(-65536 * 3 // 7)
DEADLINE = 5.0      # s


@pytest.fixture(scope="module")
def resources(tmp_path_factory):
    """Where the one instrument is reached: over TCP and at a serial port."""
    link = tmp_path_factory.mktemp("serial") / "port"
    with subprocess.Popen([sys.executable, str(SERVER), str(link)], stdout=subprocess.PIPE, text=True) as process:
        port = int(process.stdout.readline())
        yield {"socket": f"TCPIP::127.0.0.1::{port}::SOCKET", "serial": f"ASRL{link}::INSTR"}
        process.terminate()


@pytest.fixture(params=["socket", "serial"])
def session(request, resources):
    opened = ScpiSession("digitizer", resources[request.param], IDENTITY, system_clock(), DEADLINE, baud=115_200)
    yield opened
    opened.close()


def test_identity_number_and_self_test(session):
    assert session.identify() == IDENTITY
    assert session.ask_number("MEAS?") == 1.25
    assert session.self_test(DEADLINE) is None
    assert session.drain_errors() == ()


def test_block_with_line_feeds_inside(session):
    is_serial = session.resource.startswith("ASRL")
    codes = session.ask_codes("TRAC:SHOR?", 1500) if is_serial else session.ask_codes("TRAC?", COUNT)
    expected = np.arange(0, 65536 * 3, 7) % 65536 - 32768
    assert 0x0A in codes.view(np.uint8)
    assert np.array_equal(codes, expected[:codes.size])
    assert session.ask_number("MEAS?") == 1.25


def test_silence_is_told_and_the_next_question_is_answered(session):
    session.identify()
    session.deadline = 0.3
    with pytest.raises(NoReplyError):
        session.ask("NOSUCH?")
    session.deadline = DEADLINE
    assert session.ask_number("MEAS?") == 1.25


def test_another_serial_number_is_refused(resources):
    other = ScpiSession("digitizer", resources["socket"], Identity("SINSTRUMENTS", "FOREIGN", "F-2", "1"),
                        system_clock(), DEADLINE)
    with pytest.raises(BenchNotFitError):
        other.identify()
    other.close()
