"""station.bench.register_map: what a map must hold, and every fault in one error."""

from math import pi
from pathlib import Path

import pytest

from station.bench.dialect import SHIPPED
from station.bench.register_map import load_register_map, parse_register_map
from station.errors import FileContractError
from station.toml_file import parse_toml

TEXT = (SHIPPED / "embedded_modbus_drive.toml").read_text(encoding="utf-8")


def parsed(text):
    return parse_register_map(parse_toml(text.encode(), "map.toml"))


def test_quantities_come_in_si():
    registers = load_register_map("embedded_modbus_drive", Path())
    assert registers.target_speed.factor == pytest.approx(0.01 * 2 * pi / 60)
    assert registers.torque.factor == pytest.approx(0.2e-3)
    assert registers.watchdog.factor == pytest.approx(0.01)
    assert registers.fault_texts[0x7500] == "contact was lost"


def test_counting_from_one_shifts_every_address():
    from_zero, from_one = parsed(TEXT), parsed(TEXT.replace("address_base = 0", "address_base = 1"))
    assert from_one.control.address == from_zero.control.address - 1
    assert from_one.ramps[0].address == from_zero.ramps[0].address - 1
    assert from_one.settings[0][0].address == from_zero.settings[0][0].address - 1
    assert from_one.identity["serial"].text[0].address == from_zero.identity["serial"].text[0].address - 1


@pytest.mark.parametrize(("old", "new", "fault"), [
    ("enable_operation = 0x000F", "enable_operation = 0x0007", "enable_operation"),
    ("enable_operation = 0x000F", "enable_operation = 0x008F", "enable_operation"),
    ('scale = 0.2, unit = "mN m"', 'scale = 0.2, unit = "A"', "torque.unit"),
    ('scale = 10.0, unit = "ms"', 'scale = 0.0, unit = "ms"', "watchdog"),
    ('register = 0x0110, type = "int32"', 'register = 0x0110, type = "uint32"', "target_speed.type"),
    ('register = 0x0112, type = "int32"', 'register = 0x0112, type = "uint32"', "actual_speed.type"),
    ('control = { register = 0x0100 }', 'control = { register = 0x0100, table = "input" }', "words.control"),
    ('value = 3 }', 'value = 40000 }', "settings.mode"),
    ("maker = { object = 0 }", "maker = { }", "identity.maker"),
    ("maker = { object = 0 }", "maker = { object = 0, register = 5 }", "identity.maker"),
    ("7500 = ", "75 = ", "fault_texts"),
    ('kind = "modbus"', 'kind = "scpi"', "kind"),
])
def test_faults_are_named(old, new, fault):
    assert old in TEXT
    with pytest.raises(FileContractError, match=fault):
        parsed(TEXT.replace(old, new))


def test_all_faults_come_at_once():
    text = TEXT.replace("enable_operation = 0x000F", "enable_operation = 0").replace('unit = "mN m"', 'unit = "V"')
    with pytest.raises(FileContractError) as caught:
        parsed(text)
    assert len(caught.value.faults) == 2
