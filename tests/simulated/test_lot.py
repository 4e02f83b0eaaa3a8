"""station.simulated.lot: the demonstration lot, and every fault of a bad lot file in one error."""

from typing import get_args

import pytest

from station.errors import FileContractError, UsageError
from station.simulated.as_built import _APPLY
from station.simulated.defect import Defect
from station.simulated.lot import demo_lot_path, load_lot

KINDS = {get_args(kind.model_fields["kind"].annotation)[0] for kind in get_args(Defect)}


@pytest.fixture(scope="module")
def lot():
    return load_lot(demo_lot_path())


def test_demonstration_motors_come_first(lot):
    assert list(lot.motors)[:10] == [
        "CP40-0001", "CP40-0002", "CP40-0003", "CP40-0004", "VB24-0001", "VB24-0002", "VB24-0003",
        "CP60-0001", "CP60-0002", "CP60-0003"]
    assert [s for s in list(lot.motors)[:10] if not lot.motors[s].defects] == [
        "CP40-0001", "CP40-0003", "VB24-0001", "CP60-0001"]


def test_every_kind_of_defect_has_a_motor_and_physics(lot):
    shown = {defect.kind for motor in lot.motors.values() for defect in motor.defects}
    assert shown == KINDS == set(_APPLY)
    assert len(KINDS) >= 15


def test_unknown_serial_number(lot):
    with pytest.raises(UsageError, match="CP40-9999"):
        lot.motor("CP40-9999")


@pytest.mark.parametrize(("old", "new", "key"), [
    ("pole_pairs = 4", "pole_pairs = 41", "pole_pairs"),
    ('winding = "delta"', 'winding = "ring"', "winding"),
    ("deg = 9.0", 'deg = "9"', "deg"),
    ('type = "CP-40"', 'type = "CP-4"', "type"),
    ('serial = "CP40-0002"', 'serial = "CP40-0001"', "serial"),
    ("share = 0.12", "share = nan", "share"),
    ('kind = "weak_magnets", share', 'kind = "weak_magnet", share', "defects"),
])
def test_broken_lot_file_names_the_key(tmp_path, old, new, key):
    text = demo_lot_path().read_text(encoding="utf-8")
    assert old in text
    broken = tmp_path / "lot.toml"
    broken.write_text(text.replace(old, new, 1), encoding="utf-8")
    with pytest.raises(FileContractError) as caught:
        load_lot(broken)
    assert any(key in fault.key for fault in caught.value.faults)


def test_all_faults_are_reported_at_once(tmp_path):
    broken = tmp_path / "lot.toml"
    text = demo_lot_path().read_text(encoding="utf-8")
    broken.write_text(text.replace("pole_pairs = 4", "pole_pairs = 0").replace("deg = 9.0", "degrees = 9.0"),
                      encoding="utf-8")
    with pytest.raises(FileContractError) as caught:
        load_lot(broken)
    assert len(caught.value.faults) >= 3
