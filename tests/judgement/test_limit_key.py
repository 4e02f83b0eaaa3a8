"""Keys of limits name a characteristic and at most one capture."""

import pytest

from station.judgement.limit_key import is_label, read_key


@pytest.mark.parametrize(("key", "read"), [
    ("thd", ("thd", None)),
    ("hall_placement.b", ("hall_placement.b", None)),
    ("thd@reverse 1500", ("thd", "reverse 1500")),
    ("thd@reverse 1500.0", ("thd", "reverse 1500")),
    ("thd@forward 1500.5", ("thd", "forward 1500.5")),
    ("thd@backwards", ("thd", "backwards")),
])
def test_read_key(key, read):
    assert read_key(key) == read


@pytest.mark.parametrize(("label", "good"), [
    ("forward 1500", True), ("reverse 0.5", True), ("forward 0", False), ("forward -1500", False),
    ("Forward 1500", False), ("forward1500", False), ("", False), ("forward 1500 ", False),
])
def test_is_label(label, good):
    assert is_label(label) is good
