"""`station dialect check`: every shipped dialect plays through, the README's example works, hazards wait for a word."""

import re
import socket
from pathlib import Path

import pytest

import station
from station.bench.dialect import SHIPPED
from station.cli.program import run
from station.exit_code import ExitCode
from station.simulated.bench import SimulatedBench
from station.simulated.lot import demo_lot_path, load_lot
from station.simulated.rig import Rig

README = Path(station.__file__).parent.parent / "README.md"
DIALECTS = sorted(path.stem for path in SHIPPED.glob("*.toml") if 'kind = "modbus"' not in path.read_text("utf-8"))


@pytest.fixture
def example(tmp_path):
    """The README's dialect, as a person copies it."""
    page = README.read_text(encoding="utf-8").partition("## Bring up your own digitizer in an hour")[2]
    path = tmp_path / "my_digitizer.toml"
    path.write_text(re.search(r"```toml\n(.*?)```", page, re.DOTALL)[1], encoding="utf-8")
    return path


@pytest.fixture
def bench():
    lot = load_lot(demo_lot_path())
    rig = Rig(lot, seed=3, pace=20.0)
    with SimulatedBench(rig, {}) as served:
        rig.place(next(iter(lot.motors)))
        rig.close_guard()
        rig.arm(True)
        rig.press_start()
        yield rig, served


@pytest.fixture
def unused_port():
    with socket.create_server(("127.0.0.1", 0)) as taken:
        return taken.getsockname()[1]


def resource(served, role):
    return f"TCPIP::127.0.0.1::{served.ports[role]}::SOCKET"


@pytest.mark.parametrize("name", DIALECTS)
def test_shipped_dialects_play_through(name, capsys):
    assert run(["dialect", "check", name]) == ExitCode.PASS
    shown = capsys.readouterr().out
    assert "0 fault(s)" in shown
    assert "not played" not in shown


@pytest.mark.parametrize("name", DIALECTS)
def test_every_template_is_played(name, capsys):
    run(["dialect", "check", name])
    sent = [line.removeprefix("  > ") for line in capsys.readouterr().out.splitlines() if line.startswith("  > ")]
    text = (SHIPPED / f"{name}.toml").read_text(encoding="utf-8")
    for template in re.findall(r'^\w+ = "(.*)"', text.partition("[templates]")[2], re.MULTILINE):
        pattern = re.sub(r"\\{\w+\\}", "[^ ,]+", re.escape(template))
        assert any(re.fullmatch(pattern, line) for line in sent), template


def test_the_example_of_the_manual_works(example, capsys):
    assert run(["dialect", "check", str(example), "--role", "digitizer"]) == ExitCode.PASS
    shown = capsys.readouterr().out
    assert "> DUMP? A" in shown
    assert re.search(r"= 2500 codes from \d+ to \d+; volts = 0\.078125 x code \+ -9\.96094", shown)


def test_a_faulty_file_tells_every_fault_and_plays_nothing(example, capsys):
    text = example.read_text(encoding="utf-8")
    example.write_text(text.replace('abort = "HALT"\n', "").replace("{channel}:ON", "{canal}:ON"), encoding="utf-8")
    assert run(["dialect", "check", str(example)]) == ExitCode.WRONG_USE
    told = capsys.readouterr()
    assert "templates.abort: got nothing" in told.err
    assert "templates.channel_on" in told.err
    assert ">" not in told.out


def test_wrong_role_is_told(example, capsys):
    assert run(["dialect", "check", str(example), "--role", "supply"]) == ExitCode.WRONG_USE
    assert "'supply'" in capsys.readouterr().err


@pytest.mark.parametrize("role", ["", "oscillator"])
def test_unknown_role_is_told(example, role, capsys):
    example.write_text(example.read_text(encoding="utf-8").replace('role = "digitizer"', f'role = "{role}"'), "utf-8")
    assert run(["dialect", "check", str(example)]) == ExitCode.WRONG_USE
    assert "role" in capsys.readouterr().err


def test_an_identity_that_nobody_has_is_only_shown(example, capsys):
    text = example.read_text(encoding="utf-8").replace("DIGITIZER TERSE", "S9")
    example.write_text(text, encoding="utf-8")
    assert run(["dialect", "check", str(example)]) == ExitCode.NO_RESULT
    assert "fetch: DUMP? {channel}" in capsys.readouterr().out


def test_nobody_there_is_a_fault(example, unused_port, capsys):
    words = ["dialect", "check", str(example), "--resource", f"TCPIP::127.0.0.1::{unused_port}::SOCKET"]
    assert run(words) == ExitCode.BENCH_NOT_FIT
    assert "1 fault(s)" in capsys.readouterr().out


@pytest.mark.parametrize("nonsense", ["COM1", "TCPIP::127.0.0.1::99999::SOCKET", "MODBUS::127.0.0.1::502", "x\ny"])
def test_what_is_no_resource_is_told(example, nonsense, capsys):
    assert run(["dialect", "check", str(example), "--resource", nonsense]) == ExitCode.WRONG_USE
    assert "--resource" in capsys.readouterr().err


def test_a_register_map_is_told(tmp_path, capsys):
    assert run(["dialect", "check", "embedded_modbus_drive"]) == ExitCode.WRONG_USE
    assert "register map" in capsys.readouterr().err


@pytest.mark.parametrize(("role", "forbidden"), [("drive", "OUTP ON"), ("insulation", "OUTP ON")])
def test_a_real_hazard_waits_for_the_word(bench, role, forbidden, capsys):
    rig, served = bench
    code = run(["dialect", "check", f"embedded_{role}", "--resource", resource(served, role)])
    shown = capsys.readouterr().out
    assert code == ExitCode.PASS
    assert "CAUTION" in shown
    assert f"> {forbidden}" not in shown
    assert "not played" in shown
    assert not rig.shaft.enabled
    assert rig.insulation_voltage() < 1.0


@pytest.mark.parametrize("role", ["drive", "insulation"])
def test_with_the_word_it_is_played_and_switched_off_again(bench, role, capsys):
    rig, served = bench
    code = run(["dialect", "check", f"embedded_{role}", "--resource", resource(served, role), "--energize"])
    shown = capsys.readouterr().out
    assert code == ExitCode.PASS
    assert "CAUTION" in shown
    assert "> OUTP ON" in shown
    assert not rig.shaft.enabled
    assert rig.insulation_voltage() < 100.0
