"""Computations in a process of their own: results and errors come back, and its death is told."""

import os

import pytest

from station.errors import StationError, UsageError
from station.screens.apart import apart
from station.units import to_si


def test_a_result_of_another_process():
    assert apart(os.getpid) != os.getpid()
    assert apart(to_si, 5.0, "mV") == 0.005


def test_it_stands_behind_all_others():
    assert apart(os.nice, 0) > os.nice(0)


def test_an_error_comes_back_in_the_same_words():
    with pytest.raises(UsageError) as here:
        to_si(1.0, "furlongs")
    with pytest.raises(UsageError) as there:
        apart(to_si, 1.0, "furlongs")
    assert str(there.value) == str(here.value)


def test_a_process_that_dies_is_told():
    with pytest.raises(StationError, match="broken off"):
        apart(os._exit, 3)
