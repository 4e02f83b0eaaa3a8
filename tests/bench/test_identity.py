"""station.bench.identity: the answer to *IDN?."""

import pytest

from station.bench.identity import Identity, parse_identity
from station.errors import BenchError, BenchNotFitError


def test_four_fields():
    assert parse_identity("PLANT, TOY ,7,1.0", "drive") == Identity("PLANT", "TOY", "7", "1.0")


@pytest.mark.parametrize("answer", ["", "0", "PLANT,TOY,7", "a,b,c,d,e"])
def test_anything_else_is_refused(answer):
    with pytest.raises(BenchError, match="IDN"):
        parse_identity(answer, "drive")


def test_differences_are_named():
    one = Identity("PLANT", "TOY", "7", "1")
    assert one.differences(Identity("PLANT", "TOY", "8", "2")) == ["serial", "firmware"]
    assert one.differences(one) == []


def test_another_instrument_is_refused_by_name():
    one, other = Identity("PLANT", "TOY", "7", "1"), Identity("PLANT", "TOY", "8", "1")
    one.require(one, "drive", "here")
    with pytest.raises(BenchNotFitError, match="answers for the drive") as caught:
        other.require(one, "drive", "here")
    assert (caught.value.expected, caught.value.got) == (one, other)
