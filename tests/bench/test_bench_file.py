"""station.bench.bench_file: the starter file is right, and every fault of a file is told at once."""

from datetime import date
from math import pi

import pytest

from station.bench.bench_file import parse_bench
from station.bench.roles import ROLES
from station.bench.starter import embedded_bench_toml
from station.errors import FileContractError
from station.toml_file import parse_toml

PORTS = {role: 45025 + i for i, role in enumerate(ROLES)}
STARTER = embedded_bench_toml(PORTS, date(2026, 9, 1), date(2027, 9, 1))


def parse(text, folder):
    return parse_bench(parse_toml(text.encode(), "bench.toml"), folder)


def faults(text, folder):
    with pytest.raises(FileContractError) as caught:
        parse(text, folder)
    return {fault.key for fault in caught.value.faults}


def test_starter_file_holds(tmp_path):
    bench = parse(STARTER, tmp_path)
    assert bench.ports() == PORTS
    assert tuple(entry.role for entry in bench.instruments) == ROLES
    assert bench.entry("drive").identity.serial == "EB-DRV-001"
    assert bench.entry("guard").calibration.due == date(2027, 9, 1)
    assert bench.drive_limits.max_speed == pytest.approx(6000 * 2 * pi / 60)
    assert bench.wiring["h_c"].channel == 6
    assert bench.name == "bench.toml"


@pytest.mark.parametrize(("old", "new", "key"), [
    ("TCPIP::127.0.0.1::45025::SOCKET", "127.0.0.1:45025", "instruments.drive.resource"),
    ("TCPIP::127.0.0.1::45025::SOCKET", "TCPIP::127.0.0.1::0::SOCKET", "instruments.drive.resource"),
    ("::45026::", "::45025::", "instruments.digitizer.resource"),
    ("EB-DIG-001", "", "instruments.digitizer.identity.serial"),
    ("max_speed_rpm = 6000.0", "max_speed_rpm = -1.0", "drive_limits.max_speed_rpm"),
    ("max_speed_rpm = 6000.0", "max_speed_rpm = nan", "drive_limits.max_speed_rpm"),
    ("watchdog_s = 5.0", "watchdog_s = 0.0", "drive_limits.watchdog_s"),
    ("channel = 2", "channel = 1", "wiring.v_bc.channel"),
    ("h_c = {", "h_d = {", "wiring.h_d"),
    ("h_c = {", "# h_c = {", "wiring.h_c"),
    ("[instruments.guard]", "[instruments.gate]", "instruments.guard"),
    ("date = 2026-09-01, due = 2027-09-01", "date = 2027-09-01, due = 2027-09-01",
     "instruments.drive.calibration.due"),
    ("due = 2027-09-01", 'due = "2027-09-01"', "instruments.drive.calibration.due"),
    ('dialect = "embedded_drive"', 'dialect = "embedded_guard"', "role"),
    ('dialect = "embedded_drive"', 'dialect = "nosuch"', "(file)"),
    ("probe_ratio = 1.0", "probe_ratio = 0.0", "wiring.v_ab.probe_ratio"),
    ("format = 1", "format = 2", "format"),
])
def test_each_fault_is_told(tmp_path, old, new, key):
    assert old in STARTER
    assert key in faults(STARTER.replace(old, new), tmp_path)


def _extended(text):
    return STARTER.replace("due = 2027-09-01 }", f"due = 2027-09-01, extension = {{ {text} }} }}", 1)


def test_a_written_extension_has_a_person_a_reason_and_a_last_day(tmp_path):
    text = 'person = "M. Odera", reason = "laboratory shut", until = 2027-09-30'
    extension = parse(_extended(text), tmp_path).entry("drive").calibration.extension
    assert (extension.person, extension.reason, extension.until) == (
        "M. Odera", "laboratory shut", date(2027, 9, 30))
    key = "instruments.drive.calibration.extension"
    for part in text.split(", "):
        name = part.split(" ")[0]
        left = ", ".join(other for other in text.split(", ") if other != part)
        assert faults(_extended(left), tmp_path) == {f"{key}.{name}"}
    blank = _extended('person = " ", reason = "", until = 2027-09-30')
    assert faults(blank, tmp_path) == {f"{key}.reason"}
    assert faults(_extended('person = " ", reason = " ", until = 2027-09-01'), tmp_path) == {
        f"{key}.person", f"{key}.reason", f"{key}.until"}
    assert faults(_extended(f'person = "{"x" * 41}", reason = "{"y" * 81}", until = 2027-09-30'), tmp_path) == {
        f"{key}.person", f"{key}.reason"}


def test_all_faults_are_told_at_once(tmp_path):
    text = STARTER.replace("channel = 2", "channel = 1").replace("::45026::", "::45025::")
    assert faults(text, tmp_path) == {"wiring.v_bc.channel", "instruments.digitizer.resource"}


def test_dialect_of_ones_own_lies_beside_the_bench_file(tmp_path):
    (tmp_path / "ours.toml").write_text(
        'format = 1\nrole = "thermometer"\n[templates]\nwinding = "T1?"\nambient = "T2?"\n', encoding="utf-8")
    bench = parse(STARTER.replace('"embedded_thermometer"', '"ours.toml"'), tmp_path)
    assert bench.entry("thermometer").dialect.line("winding") == "T1?"
