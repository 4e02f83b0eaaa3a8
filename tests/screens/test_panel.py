"""The panel: sizes in millimetres against the requirements, themes, and what the station file says of it."""

import re
from dataclasses import replace

import httpx
import pytest

from station.errors import FileContractError
from station.screens import assets
from station.screens.access import Role
from station.sequence.station_file import Panel, load_station

CAPITAL = 0.714                     # height of capitals over the font size, Noto Sans
MINUTE = 3.14159265 / 180 / 60      # rad


def sizes(selector):
    """Return the properties in millimetres of the rules of the operator's style sheet whose selectors name it."""
    text = (assets.FOLDER / "line.css").read_text(encoding="utf-8")
    found = {}
    for selectors, body in re.findall(r"([^{}]+)\{([^{}]*)\}", text):
        if selector in [one.strip() for one in selectors.split(",")]:
            given = re.findall(r"([\w-]+):\s*(?:min\()?calc\(([\d.]+) \* var\(--mm\)\)", body)
            found |= {name: float(mm) for name, mm in given}
    return found


def minutes(millimetres, distance):
    """Return the angle, in minutes of arc, under which a height is seen from `distance`, m."""
    return millimetres / 1000 / distance / MINUTE


@pytest.mark.parametrize(("selector", "distance", "least", "most"), [
    (".state h1", 3.0, 22, 45),             # R1 of the requirements: 22 minutes of arc for the word of the state
    (".state.pass h1", 3.0, 34, 45),        # a verdict 30 to 40 mm
    (".state.fail h1", 3.0, 34, 45),
    (".state .step", 1.5, 20, 45),          # R3: the next step from 1.5 m, what is written below from 0.7 m
    (".state .detail", 0.7, 20, 45), (".state .worst", 0.7, 20, 45), (".state .cautions", 0.7, 20, 45),
    (".state .hint", 0.7, 20, 45), (".panel .facts", 0.7, 20, 45), (".panel .values", 0.7, 20, 45),
    (".panel header", 0.7, 20, 45), (".panel button", 0.7, 20, 45),
])
def test_letters_are_high_enough_for_where_they_are_read(selector, distance, least, most):
    assert least <= minutes(sizes(selector)["font-size"] * CAPITAL, distance) <= most


def test_buttons_are_for_gloves():
    for selector in (".panel button", ".panel .act"):
        assert sizes(selector)["min-width"] >= 20       # R8
        assert sizes(selector)["min-height"] >= 20
    for selector in (".acts", ".panel .choices", ".panel header", ".panel header > form"):
        assert sizes(selector)["gap"] >= 6              # R9


def luminance(colour):
    parts = [int(colour[i:i + 2], 16) / 255 for i in (1, 3, 5)]
    linear = [part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one, other):
    """Return the contrast of two colours; WCAG 2.2, relative luminance and contrast ratio, from memory."""
    low, high = sorted([luminance(one), luminance(other)])
    return (high + 0.05) / (low + 0.05)


def colours(body):
    text = (assets.FOLDER / "station.css").read_text(encoding="utf-8")
    bright = dict(re.findall(r"--([\w]+): (#[0-9A-F]{6})", text[:text.index("body.dark")]))
    dark = dict(re.findall(r"--([\w]+): (#[0-9A-F]{6})", re.search(r"body\.dark \{[^}]*\}", text).group()))
    found = bright | (dark if body == "dark" else {})
    return {"text": found["ink"]} | found | {"white": "#FFFFFF"}


@pytest.mark.parametrize("body", ["bright", "dark"])
@pytest.mark.parametrize(("letters", "ground"), [
    ("ink", "pass"), ("white", "fail"), ("white", "act"), ("ink", "abnormal"), ("text", "rest"), ("text", "ground"),
    ("link", "ground")])
def test_contrast_of_the_panel(body, letters, ground):
    held = colours(body)
    assert contrast(held[letters], held[ground]) >= 7      # R5


@pytest.mark.parametrize("body", ["bright", "dark"])
def test_pass_and_fail_differ_in_lightness_and_borders_are_seen(body):
    held = colours(body)
    assert contrast(held["pass"], held["fail"]) >= 3       # R7
    assert contrast(held["line"], held["ground"]) >= 3     # R6


def test_the_pitch_of_the_panel_makes_the_millimetre(asked, site):
    answer = asked().get("/panel.css")
    assert answer.headers["content-type"].startswith("text/css")
    assert f"--mm: {1 / site.station.panel.pitch_mm:.4f}px" in answer.text
    page = asked(Role.OPERATOR).get("/line").text
    assert page.index("station.css") < page.index("/panel.css")


def test_the_hall_is_chosen_at_the_panel_and_stays(asked, site):
    client = asked(Role.OPERATOR)
    assert '<body class="panel bright">' in client.get("/line").text
    assert client.post("/panel", data={"hall": "dark"}).status_code == 303
    assert '<body class="panel dark">' in client.get("/line").text
    assert client.post("/panel", data={"hall": "pink"}).status_code == 400


def test_the_station_file_names_panel_and_language(tmp_path, site):
    file = tmp_path / "station.toml"
    text = site.station.file.read_text(encoding="utf-8")
    assert load_station(site.station.file).panel == Panel()
    table = '\n[panel]\npitch_mm = 0.17\nhall = "dark"\nlanguage = "pl"\nhelp = "R. Fink, 4711"\n'
    file.write_text(text + table, "utf-8")
    assert load_station(file).panel == replace_panel(pitch_mm=0.17, hall="dark", language="pl", help="R. Fink, 4711")
    file.write_text(text + '\n[panel]\npitch_mm = 25.0\nlanguage = "tlh"\n', "utf-8")
    with pytest.raises(FileContractError) as told:
        load_station(file)
    assert {fault.key for fault in told.value.faults} == {"panel.pitch_mm", "panel.language"}


def replace_panel(**given):
    return Panel().model_copy(update=given)


def test_a_panel_speaks_the_language_of_its_station_file_until_somebody_chooses(site, serving):
    polish = replace(site, station=replace(site.station, panel=replace_panel(language="pl")))
    with serving(polish) as address, httpx.Client(base_url=address, headers={"origin": address}) as client:
        assert "ZALOGUJ SIĘ" in client.get("/line", headers={"accept-language": "de"}).text
        client.post("/language", data={"code": "de"})
        assert "ANMELDEN" in client.get("/line").text
