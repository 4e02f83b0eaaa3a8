"""What is shipped for browsers: whole, as its maker made it, and asking nobody else for anything."""

import re
from hashlib import sha256
from pathlib import Path

import pytest

from station.screens import assets

PACKAGE = Path(assets.__file__).parent
# uPlot 1.6.32 as the npm registry has it, MIT licence: dist/uPlot.iife.min.js and dist/uPlot.min.css.
MADE_ELSEWHERE = {
    "uplot.js": "19c8d4c6ad88929a79f4ae49d6f7161566dfd0ba3d15cc495e974f787eb78f1f",
    "uplot.css": "df630c6a8d6f8eeaff264b50f73ce5b114f646ffd9a0bb74f049b0a00135fa04",
}


@pytest.mark.parametrize("name", MADE_ELSEWHERE)
def test_what_others_made_is_as_they_made_it(name):
    assert sha256((assets.FOLDER / name).read_bytes()).hexdigest() == MADE_ELSEWHERE[name]
    assert "Permission is hereby granted" in (assets.FOLDER / "uplot-licence.txt").read_text(encoding="utf-8")


def test_no_page_asks_another_computer_for_anything():
    for path in [*PACKAGE.rglob("*.html"), *PACKAGE.rglob("*.css"), *PACKAGE.rglob("*.js"), *PACKAGE.rglob("*.svg")]:
        found = re.findall(r"(?:https?:)?//[\w.-]+\.\w+", path.read_text(encoding="utf-8"))
        assert set(found) <= {"http://www.w3.org", "//www.w3.org", "https://github.com"}, path


def test_pages_have_neither_script_nor_style_inside():
    """The policy forbids them, so that browsers would leave them out."""
    for path in PACKAGE.rglob("*.html"):
        text = path.read_text(encoding="utf-8")
        assert not re.search(r"\sstyle=|\son[a-z]+=|<style|<script(?![^>]*src=)|javascript:", text), path


def test_an_asset_is_served_under_its_hash_and_may_be_kept_for_ever(asked):
    client = asked()
    where = assets.address_of("station.css")
    answer = client.get(where)
    assert answer.content == (assets.FOLDER / "station.css").read_bytes()
    assert "immutable" in answer.headers["cache-control"]
    for wrong in (where.replace("/assets/", "/assets/0"), "/assets/x/..%2fapp.py", "/assets/x/app.py"):
        assert client.get(wrong).status_code == 404
