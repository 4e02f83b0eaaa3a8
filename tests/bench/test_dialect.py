"""station.bench.dialect: what a dialect file must hold, and the lines it makes."""

import math

import pytest

from station.bench.bench_file import NEEDS
from station.bench.dialect import SHIPPED, load_dialect, parse_dialect
from station.bench.roles import ROLES
from station.errors import BenchError, FileContractError
from station.toml_file import parse_toml

OHMMETER = """format = 1
role = "ohmmeter"
[numbers]
pair_ab = 1
pair_bc = 2
pair_ca = 3
[templates]
connect = "ROUT:CLOS (@{pair})"
release = "ROUT:OPEN:ALL"
resistance = "MEAS:FRES?"
"""


def parse(text):
    return parse_dialect(parse_toml(text.encode(), "ohm.toml"), "ohmmeter", NEEDS["ohmmeter"])


@pytest.mark.parametrize(("make", "role"), [("embedded", role) for role in ROLES] + [
    (make, role) for make in ("terse", "headed") for role in ROLES if role != "drive"])
def test_shipped_dialects_hold(make, role, tmp_path):
    dialect = load_dialect(f"{make}_{role}", tmp_path, role, NEEDS[role])
    assert set(dialect.templates) >= set(NEEDS[role].templates)
    assert len(dialect.sha256) == 64


def test_fields_are_filled():
    assert parse(OHMMETER).line("connect", pair=2) == "ROUT:CLOS (@2)"


def test_speed_crosses_the_wire_in_the_unit_named(tmp_path):
    dialect = load_dialect("embedded_drive", tmp_path, "drive", NEEDS["drive"])
    assert dialect.from_wire("speed", 1500) == pytest.approx(157.0796, abs=1e-4)
    assert dialect.to_wire("speed", dialect.from_wire("speed", 1234.5)) == pytest.approx(1234.5)


@pytest.mark.parametrize(("old", "new", "key"), [
    ("(@{pair})", "(@{relay})", "templates.connect"),
    ("(@{pair})", "(@1)", "templates.connect"),
    ("(@{pair})", "(@{pair:>9})", "templates.connect"),
    ("(@{pair})", "(@{pair", "templates.connect"),
    ("(@{pair})", "(@{pair.real})", "templates.connect"),
    ("ROUT:OPEN:ALL", "ROUT:OPEN\\n*RST", "templates.release"),
    ("ROUT:OPEN:ALL", "", "templates.release"),
    ("release =", "relaese =", "templates.release"),
    ("release =", "relaese =", "templates.relaese"),
    ("pair_ab", "pair_xx", "numbers.pair_ab"),
    ('"ohmmeter"', '"drive"', "role"),
])
def test_each_fault_is_told(old, new, key):
    with pytest.raises(FileContractError) as caught:
        parse(OHMMETER.replace(old, new))
    assert key in {fault.key for fault in caught.value.faults}


def test_all_faults_are_told_at_once():
    with pytest.raises(FileContractError) as caught:
        parse(OHMMETER.replace("{pair}", "{x}").replace("pair_ab", "ab").replace('"ohmmeter"', '"drive"'))
    assert {fault.key for fault in caught.value.faults} == {
        "templates.connect", "numbers.pair_ab", "numbers.ab", "role"}


FIELDS = """
[fields.pair]
map = { 1 = "UV", 2 = "VW" }
"""


def test_fields_are_written_by_their_map():
    dialect = parse(OHMMETER + FIELDS)
    assert dialect.line("connect", pair=2) == "ROUT:CLOS (@VW)"
    with pytest.raises(BenchError, match="no word for pair 3"):
        dialect.line("connect", pair=3)


@pytest.mark.parametrize(("table", "text"), [
    ("times = 0.001", "0.5"), ("decimals = 2", "500.00"), ("times = 0.001\ndecimals = 3", "0.500"),
    ("times = 1.0e9", "500000000000"),
])
def test_fields_are_written_as_numbers(table, text):
    source = (SHIPPED / "embedded_insulation.toml").read_text(encoding="utf-8") + f"\n[fields.volts]\n{table}\n"
    dialect = parse_dialect(parse_toml(source.encode(), "my.toml"), "insulation", NEEDS["insulation"])
    assert dialect.line("set_voltage", volts=500.0) == f"SOUR:VOLT {text}"


def test_sentinels_stand_for_measured_values_only():
    source = (SHIPPED / "embedded_insulation.toml").read_text(encoding="utf-8") + "\n[sentinels]\nover = [9999]\n"
    dialect = parse_dialect(parse_toml(source.encode(), "my.toml"), "insulation", NEEDS["insulation"])
    assert dialect.answer("resistance").number("9999") == math.inf
    assert dialect.answer("dwell").number("9999") == 9999.0


def test_limits(tmp_path):
    dialect = load_dialect("terse_digitizer", tmp_path, "digitizer", NEEDS["digitizer"])
    dialect.require_within("range", 10.0, "V")
    dialect.require_within("range", 1000.0, "V")
    with pytest.raises(BenchError, match=r"0\.1 to 1000 V"):
        dialect.require_within("range", 1001.0, "V")
    with pytest.raises(BenchError):
        dialect.require_within("range", float("nan"), "V")
    assert dialect.within("points", 10_000_000) == 4_000_000
    assert dialect.within("unlimited", 7.0) == 7.0
