"""Who has written a draft: whoever kept this text, and whoever kept another under its name since the last release."""

import pytest

from station.cli.setup import write_folder
from station.clock import system_clock
from station.screens.drafts import KEPT, RELEASED, authors_of
from station.screens.site import make_site
from station.sequence.station_file import load_station

TEXT, OTHER, THIRD = ("a" * 64, "b" * 64, "c" * 64)


@pytest.fixture
def site(tmp_path):
    write_folder(tmp_path / "line", pace=50.0, free_ports=True)
    return make_site(load_station(tmp_path / "line" / "station.toml"), system_clock(), None)


def keeping(site, who, sha256, name="CP-40.toml", kind="limits"):
    site.trail.add(who, KEPT, where="here", about=f"{kind}/{name}, SHA-256 {sha256}")


def test_nobody_is_known_of_a_text_that_nobody_kept(site):
    assert authors_of(site, "CP-40.toml", TEXT) == ()
    keeping(site, "R. Fink", OTHER)
    assert authors_of(site, "CP-40.toml", TEXT) == ()


def test_all_who_had_a_part_in_it_are_its_authors(site):
    keeping(site, "R. Fink", OTHER)
    keeping(site, "S. Olm", TEXT)
    keeping(site, "K. Amsel", THIRD, "VB-24.toml")      # another draft
    keeping(site, "U. Rabe", THIRD, kind="sequences")
    assert authors_of(site, "CP-40.toml", TEXT) == ("R. Fink", "S. Olm")


def test_the_same_text_under_another_name_is_the_work_of_its_first_writer(site):
    keeping(site, "R. Fink", TEXT, "mine.toml")
    keeping(site, "S. Olm", TEXT)
    assert set(authors_of(site, "CP-40.toml", TEXT)) == {"R. Fink", "S. Olm"}


def test_after_a_release_a_draft_of_that_name_begins_anew(site):
    keeping(site, "S. Olm", OTHER)
    site.trail.add("T. Elster", RELEASED, where="here", about="limits/CP-40.toml, CP-40 revision B, SHA-256 " + THIRD)
    keeping(site, "R. Fink", TEXT)
    assert authors_of(site, "CP-40.toml", TEXT) == ("R. Fink",)
    # but a release that was refused, and one of another name, begin nothing
    for name, good in (("CP-40.toml", False), ("VB-24.toml", True)):
        site.trail.add("T. Elster", RELEASED, where="here", about=f"limits/{name}, again", good=good)
    assert authors_of(site, "CP-40.toml", TEXT) == ("R. Fink",)
