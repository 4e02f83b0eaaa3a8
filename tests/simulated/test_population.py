"""station.simulated.population: what is drawn is what the simulated bench builds, and the same each time."""

import tomllib
from collections import Counter

import pytest

from station.simulated.defect import HallBoardRotated
from station.simulated.lot import demo_lot_path, load_lot
from station.simulated.population import DRIFT_DEG, DRIFTING, LOTS, draw_population, known_bad_toml, motors_toml

BUILD = load_lot(demo_lot_path()).types["CP-40"]
COUNT = 600


@pytest.fixture(scope="module")
def drawn():
    return draw_population(BUILD, COUNT, "CP40-", seed=1)


def turned(motor):
    return sum(defect.deg for defect in motor.defects if isinstance(defect, HallBoardRotated))


def test_a_seed_gives_the_same_motors_and_another_seed_others(drawn):
    assert draw_population(BUILD, COUNT, "CP40-", seed=1) == drawn
    assert draw_population(BUILD, COUNT, "CP40-", seed=2).bad != drawn.bad


def test_three_lots_of_one_size_and_serials_of_one_each(drawn):
    assert Counter(motor.serial[5] for motor in drawn.motors) == dict.fromkeys(LOTS, COUNT // 3)
    assert len({motor.serial for motor in drawn.motors}) == COUNT


def test_one_lot_drifts_steadily_and_the_others_stay(drawn):
    by_lot = {lot: [turned(motor) for motor in drawn.motors if motor.serial[5] == lot] for lot in LOTS}
    drift = by_lot.pop(DRIFTING)
    assert drift == sorted(drift)
    assert drift[0] == 0.0
    assert drift[-1] == pytest.approx(DRIFT_DEG, rel=0.02)
    assert not any(map(any, by_lot.values()))


def test_those_known_to_be_bad_are_those_with_a_defect_of_their_own(drawn):
    """Drift is no defect: it is what the study shall find."""
    defects = {motor.serial: [defect.kind for defect in motor.defects if not isinstance(defect, HallBoardRotated)]
               for motor in drawn.motors}
    found = {serial: kinds for serial, kinds in defects.items() if kinds}
    assert found == {serial: [fault] for serial, fault in drawn.bad.items()}
    # 6 % of 600 are 36; 4 standard deviations of that count are 23.
    assert 13 <= len(drawn.bad) <= 59
    assert Counter(drawn.bad.values())["hall_displaced"] > len(drawn.bad) / 3


def test_the_lot_file_gives_the_same_motors_to_the_simulated_bench(drawn, tmp_path):
    path = tmp_path / "lot.toml"
    path.write_text(demo_lot_path().read_text(encoding="utf-8") + motors_toml(drawn), encoding="utf-8")
    read = load_lot(path).motors
    assert [read[motor.serial] for motor in drawn.motors] == list(drawn.motors)


def test_the_list_of_bad_motors_reads_back(drawn):
    table = tomllib.loads(known_bad_toml(drawn))
    assert {entry["serial"]: entry["fault"] for entry in table["motor"]} == drawn.bad
