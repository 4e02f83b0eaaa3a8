"""Limit files are held against the uncertainty that stored values have."""

import numpy as np
import pytest
from drawn_records import LABELS, limit_line, limits_of, record_of, store_record

from station.errors import FileContractError
from station.record.store import Store
from station.study.stored_u import hold_against, usual_u
from station.study.wide_table import read_table

US = np.linspace(0.5, 1.0, 40)


@pytest.fixture(scope="module")
def store(tmp_path_factory):
    """A store of forty motors, whose uncertainty grows from 0.5 to 1 degree, and of some without a number."""
    limits = limits_of([limit_line("hall_placement.b", -40.0, 40.0)])
    folder = tmp_path_factory.mktemp("store")
    with Store(folder) as store:
        for number, u in enumerate(US):
            measured = {("hall_placement.b", label): (0.0, float(u)) for label in LABELS}
            store_record(store, record_of(f"M{number}", measured, limits))
        for number, (value, u) in enumerate([(np.nan, 50.0), (0.0, np.nan), (0.0, np.nan), (0.0, np.nan)]):
            store_record(store, record_of(f"N{number}", {("hall_placement.b", LABELS[0]): (value, u)}, limits))
    return folder


def test_one_in_twenty_values_is_less_certain(store):
    found = usual_u(read_table(store, "CP-40"))
    assert found.keys() == {("hall_placement.b", label) for label in LABELS}
    u = found["hall_placement.b", LABELS[0]]
    assert np.mean(u < US) == pytest.approx(0.05, abs=0.026)
    assert u in US


# the value used is 0.974 or 0.987; Cm = half the tolerance over 2u, and the guarded rule accepts nothing below 0.98
@pytest.mark.parametrize(("half", "refused", "warned"), [(1.85, True, False), (2.05, False, True), (2.85, False, True),
                                                         (3.05, False, False)])
def test_too_narrow_is_refused_and_narrow_warned_of(store, half, refused, warned):
    limits = limits_of([limit_line("hall_placement.b", -half, half)])
    if refused:
        with pytest.raises(FileContractError) as caught:
            hold_against(store, limits, "draft.toml")
        assert [fault.key for fault in caught.value.faults] == ["limits.hall_placement.b"] * 2
        assert "forward 1000" in caught.value.faults[0].got
    else:
        assert bool(hold_against(store, limits, "draft.toml")) == warned


def test_a_limit_on_one_capture_is_held_against_that(store):
    limits = limits_of([limit_line("hall_placement.b@reverse 1000", -2.05, 2.05)])
    assert [(narrow.name, narrow.label) for narrow in hold_against(store, limits, "draft.toml")] == [
        ("hall_placement.b", "reverse 1000")]


def test_the_least_certain_revision_of_the_sequence_counts(tmp_path):
    wide, tight = (limits_of([limit_line("hall_placement.b", -half, half)]) for half in (40.0, 1.85))
    with Store(tmp_path) as store:
        for number, (u, revision) in enumerate([(0.1, "A"), (1.0, "B"), (0.2, "C")]):
            record = record_of(f"M{number}", {("hall_placement.b", LABELS[0]): (0.0, u)}, wide)
            store_record(store, record | {"sequence": record["sequence"] | {"revision": revision}})
    with pytest.raises(FileContractError):
        hold_against(tmp_path, tight, "draft.toml")


def test_a_store_without_tests_of_the_type_says_nothing(tmp_path):
    with Store(tmp_path):
        pass
    assert hold_against(tmp_path, limits_of([limit_line("hall_placement.b", -1e-9, 1e-9)]), "draft.toml") == []
