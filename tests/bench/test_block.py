"""station.bench.block: the closed list of code forms."""

import numpy as np
import pytest

from station.bench.block import FORMS


@pytest.mark.parametrize(("name", "lowest", "highest", "width"), [
    ("int16 little", -32768, 32767, 2), ("int16 big", -32768, 32767, 2), ("int8", -128, 127, 1), ("uint8", 0, 255, 1),
])
def test_forms(name, lowest, highest, width):
    form = FORMS[name]
    assert (form.lowest, form.highest, form.width) == (lowest, highest, width)


def test_bytes_become_codes_with_their_sign():
    body = bytes([0, 1, 127, 128, 255])
    assert FORMS["uint8"].widened(body).tolist() == [0, 1, 127, 128, 255]
    assert FORMS["int8"].widened(body).tolist() == [0, 1, 127, -128, -1]
    assert FORMS["uint8"].widened(body).dtype == np.int16
