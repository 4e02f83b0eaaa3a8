"""Values that a limit covers are those of the records, and a bound may be moved past them and past where it stands."""

import numpy as np
import pytest
from drawn_records import limit_line, limits_of, record_of, store_record
from hypothesis import given
from hypothesis import strategies as st

from station.record.kept_files import keep_file
from station.record.store import Store
from station.study.limit_values import LimitValues, reach_of, values_of
from station.study.wide_table import table_of

LIMITS = limits_of([limit_line("hall_placement", -4.0, 4.0), limit_line("hall_position.a", None, 40.0)], "simple")
PLACEMENT, DRAG = LIMITS.limits
NUMBERS = st.floats(-1e6, 1e6, allow_nan=False).map(lambda number: round(number, 6))


@pytest.fixture
def file(tmp_path):
    with Store(tmp_path) as store:
        keep_file(tmp_path, LIMITS.text.encode())
        for number in range(4):
            store_record(store, record_of(f"M{number}", {
                ("hall_placement.a", "forward 1000"): (float(number), 0.1),
                ("hall_placement.b", "forward 1000"): (np.nan if number == 2 else 10.0 + number, 0.3)}, LIMITS))
    return table_of(tmp_path, "CP-40")


def test_the_values_are_those_of_every_member_as_far_as_they_are_measured(file):
    found = values_of(file, LIMITS, PLACEMENT, np.ones(file.rows, bool))
    assert sorted(found.values) == [0.0, 1.0, 2.0, 3.0, 10.0, 11.0, 13.0]
    assert found.u == 0.1       # the median of four at 0.1 and three at 0.3
    some = np.arange(file.rows) == 0
    assert values_of(file, LIMITS, PLACEMENT, some).values.size == 2


def test_what_nobody_measured_has_no_values_and_no_uncertainty(file):
    found = values_of(file, LIMITS, DRAG, np.ones(file.rows, bool))
    assert found.values.size == 0
    assert np.isnan(found.u)
    reach = reach_of(found, DRAG, "upper")
    assert reach.first < 40.0 < reach.last


@given(st.lists(NUMBERS, max_size=60), NUMBERS)
def test_a_bound_may_go_past_the_bulk_of_the_values_and_past_where_it_stands_in_even_steps(values, bound):
    limit = limits_of([f'"hall_placement.b" = {{ unit = "deg", lower = {bound!r} }}'], "simple").limits[0]
    reach = reach_of(LimitValues(np.array(values), 0.1), limit, "lower")
    assert reach.first < reach.last
    assert reach.first <= bound <= reach.last
    if values:
        low, high = np.quantile(values, (0.005, 0.995))
        assert reach.first <= low + 1e-9
        assert high - 1e-9 <= reach.last
    assert 20 <= (reach.last - reach.first) / reach.step <= 400
