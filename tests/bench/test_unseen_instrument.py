"""An instrument of a make that the station's code has never seen works by a dialect file alone."""

import re
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from station.bench.bench_file import NEEDS
from station.bench.dialect import load_dialect
from station.bench.digitizer import ScpiDigitizer, Wiring
from station.bench.identity import Identity
from station.bench.scpi_session import ScpiSession
from station.cli.program import run
from station.clock import system_clock
from station.errors import BenchError, BenchNotFitError
from station.exit_code import ExitCode

HERE = Path(__file__).parent
SERVER, DIALECT = HERE / "unseen_instrument.py", HERE / "unseen_digitizer.toml"
IDENTITY = Identity("Ostrel Works", "Sampler", "0042", "c")


@pytest.fixture(scope="module")
def resource():
    """The server in a process of its own, without the station on its path."""
    with subprocess.Popen([sys.executable, "-I", str(SERVER)], stdout=subprocess.PIPE, text=True) as process:
        yield f"TCPIP::127.0.0.1::{process.stdout.readline().strip()}::SOCKET"
        process.kill()


def opened(resource, expected, dialect):
    return ScpiSession("digitizer", resource, expected, system_clock(), 2.0, dialect.speech)


@pytest.fixture
def dialect():
    return load_dialect(DIALECT.name, HERE, "digitizer", NEEDS["digitizer"])


@pytest.fixture
def digitizer(resource, dialect):
    session = opened(resource, IDENTITY, dialect)
    wiring = {"v_ab": Wiring(1, 10.0, 0.0, 0.0), "h_a": Wiring(4, 1.0, 0.0, 0.0)}
    yield ScpiDigitizer(session, dialect, wiring)
    session.close()


def test_the_server_knows_nothing_of_the_station():
    imported = re.findall(r"^\s*(?:import|from)\s+(\w+)", SERVER.read_text(encoding="utf-8"), re.MULTILINE)
    assert imported
    assert set(imported) <= set(sys.stdlib_module_names)


def test_capture_through_the_whole_driver(digitizer):
    assert digitizer.identity() == IDENTITY
    assert digitizer.self_test() is None
    digitizer.configure({"v_ab": 20.0, "h_a": 8.0}, 1e-5, 1000)
    digitizer.initiate()
    assert not digitizer.is_done()
    while not digitizer.is_done():
        digitizer.clock.pause(0.01)
    codes, channels = digitizer.fetch()
    k = np.arange(1000)
    for signal, channel, span in (("v_ab", 1, 40.0), ("h_a", 4, 16.0)):
        ratio = digitizer.wiring[signal].probe_ratio
        expected = (span / ratio / 256 * np.round(100 * np.sin(2 * np.pi * k / 50 + channel)) + 3e-3 * channel) * ratio
        volts = channels[signal].scale * codes[signal] + channels[signal].offset
        assert codes[signal].dtype == np.int16
        np.testing.assert_allclose(volts, expected, rtol=1e-6, atol=1e-6)


def test_what_it_refuses_is_an_error(digitizer):
    with pytest.raises(BenchError, match="not acknowledged"):
        digitizer.configure({"v_ab": 1e6}, 1e-5, 1000)
    digitizer.configure({"v_ab": 20.0}, 1e-5, 1000)   # and the connection is of use again


def test_a_record_that_is_not_over_gives_no_codes(digitizer):
    digitizer.configure({"v_ab": 20.0}, 0.01, 1000)
    digitizer.initiate()
    with pytest.raises(BenchError):
        digitizer.fetch()


def test_limits_of_the_dialect_are_told_before_anything_is_sent(digitizer):
    with pytest.raises(BenchError, match="1 to 20000 samples"):
        digitizer.configure({"v_ab": 20.0}, 1e-5, 20_001)


def test_another_serial_number_is_refused(resource, dialect):
    session = opened(resource, Identity("Ostrel Works", "Sampler", "0043", "c"), dialect)
    with pytest.raises(BenchNotFitError, match="another instrument"):
        session.identify()
    session.close()


def test_the_dialect_check_passes(resource, capsys):
    assert run(["dialect", "check", str(DIALECT), "--resource", resource, "--role", "digitizer"]) == ExitCode.PASS
    shown = capsys.readouterr().out
    assert "> GIVE 1 301 300" in shown
    assert "2500 codes from -100 to 100; volts = 0.078125 x code + 0.003" in shown


def test_the_dialect_check_finds_a_wrong_template(resource, tmp_path, capsys):
    wrong = tmp_path / "wrong.toml"
    wrong.write_text(DIALECT.read_text(encoding="utf-8").replace('"TELL ZERO', '"TELL NIL'), encoding="utf-8")
    assert run(["dialect", "check", str(wrong), "--resource", resource]) == ExitCode.BENCH_NOT_FIT
    assert "NO such argument" in capsys.readouterr().out
