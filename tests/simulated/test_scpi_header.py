"""Headers match in their exact short or long form only; optional nodes and suffixes as SCPI has them."""

import pytest

from station.simulated.scpi_error import ScpiError
from station.simulated.scpi_header import compile_pattern, match_header, read_header

RANGE = compile_pattern("[SENSe]:VOLTage<n>[:DC]:RANGe[:UPPer]")


@pytest.mark.parametrize(("typed", "numbers"), [
    ("VOLT:RANG", (1,)), ("SENS:VOLT3:RANG", (3,)), ("sense:voltage6:dc:range:upper", (6,)),
    ("Volt2:Rang:Upp", (2,)), ("SENSE:VOLT:DC:RANG", (1,)),
])
def test_legal_spellings(typed, numbers):
    assert match_header(RANGE, read_header(typed)) == numbers


@pytest.mark.parametrize("typed", [
    "VOLTA:RANG", "VOL:RANG", "VOLT:RANGES", "VOLT", "SENS2:VOLT:RANG", "VOLT:RANG:UPP:X", "RANG", "VOLT:DC2:RANG",
])
def test_anything_else_does_not_match(typed):
    assert match_header(RANGE, read_header(typed)) is None


@pytest.mark.parametrize(("typed", "code"), [
    ("VOLT::RANG", -102), ("", -102), ("VO!T", -101), ("ABCDEFGHIJKLM", -112), ("1VOLT", -113),
])
def test_what_no_header_can_be(typed, code):
    with pytest.raises(ScpiError) as caught:
        read_header(typed)
    assert caught.value.code == code
