"""station.certificate.fonts: wrapping keeps every letter and every line inside its room."""

import pytest
from fontTools.ttLib import TTFont
from hypothesis import given
from hypothesis import strategies as st

import station.certificate
from station.certificate import fonts

FOLDER = "fonts"
SIGNS = "±×·≤≥=…—−°Ωµ²\u202f\u00a0äöüßéñŁČ"


@given(st.text(st.sampled_from("abc WMä."), max_size=80), st.floats(12, 200))
def test_wrapped_text_is_whole_and_narrow(text, room):
    fonts.register()
    lines = fonts.wrap(text, fonts.REGULAR, 7, room)
    assert "".join("".join(lines).split()) == "".join(text.split())
    assert all(fonts.width(line, fonts.REGULAR, 7) <= room for line in lines)


@pytest.mark.parametrize("file", ["DejaVuSansCondensed.ttf", "DejaVuSansCondensed-Bold.ttf"])
def test_shipped_fonts_hold_every_sign_that_is_printed(file):
    from importlib.resources import files

    path = files(station.certificate).joinpath(FOLDER, file)
    with TTFont(str(path)) as font:
        assert not [sign for sign in SIGNS if ord(sign) not in font.getBestCmap()]
    assert files(station.certificate).joinpath(FOLDER, "LICENSE-DejaVu.txt").is_file()
