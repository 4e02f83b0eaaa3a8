"""station.bench.dialect: what a dialect file must hold, and the lines it makes."""

import pytest

from station.bench.bench_file import NEEDS
from station.bench.dialect import load_dialect, parse_dialect
from station.bench.roles import ROLES
from station.errors import FileContractError
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


@pytest.mark.parametrize("role", ROLES)
def test_shipped_dialects_hold(role, tmp_path):
    dialect = load_dialect(f"embedded_{role}", tmp_path, role, NEEDS[role])
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
