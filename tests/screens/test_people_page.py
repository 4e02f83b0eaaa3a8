"""The keeper's page and `station people`: the same accounts, and everything in the trail."""

import json

import pytest

from station.cli import program
from station.clock import system_clock
from station.screens.access import Role
from station.screens.people import People
from station.screens.site import people_folder
from station.screens.trail import Trail

WORD = "long enough a word"


def last(site):
    return json.loads(site.trail.entries(limit=10_000)[-1][1])


def test_a_keeper_adds_somebody_who_then_tests_and_reads(asked, site):
    keeper = asked(Role.KEEPER)
    given = {"name": "A. Pirol", "role.operator": "yes", "role.auditor": "yes", "badge": "B-77", "password": WORD,
             "language": "pl"}
    assert keeper.post("/people/add", data=given).status_code == 303
    assert {"who": "U. Rabe", "what": "add a person", "about": "A. Pirol", "why": "auditor operator"
            }.items() <= last(site).items()
    assert "A. Pirol" in keeper.get("/people").text
    tested, read = asked(), asked()
    tested.post("/line/scan", data={"text": "B-77"})
    assert "SKANUJ SILNIK" in tested.get("/line").text
    assert tested.get("/tests").status_code == 403      # a badge makes an operator, nothing else
    read.post("/sign-in", data={"name": "A. Pirol", "password": WORD})
    assert read.get("/tests").status_code == 200
    assert keeper.post("/people/give", data={"name": "A. Pirol", "badge": "B-78"}).status_code == 303
    assert read.get("/tests").status_code == 303        # signed out
    assert site.people.by_badge("B-77") is None
    assert site.people.by_badge("B-78").name == "A. Pirol"
    assert keeper.post("/people/disable", data={"name": "A. Pirol"}).status_code == 303
    assert site.people.by_password("A. Pirol", WORD) is None
    assert last(site)["what"] == "disable a person"


@pytest.mark.parametrize(("path", "given"), [
    ("/people/add", {"name": "X"}), ("/people/add", {"name": "X", "role.engineer": "yes", "badge": "B"}),
    ("/people/add", {"name": "R. Fink", "role.operator": "yes", "badge": "B-9"}),
    ("/people/add", {"name": "<b>\n", "role.operator": "yes", "badge": ""}),
    ("/people/give", {"name": "nobody", "badge": "B-9"}), ("/people/give", {"name": "R. Fink"}),
    ("/people/give", {"name": "R. Fink", "badge": "B-1001"}), ("/people/disable", {"name": "U. Rabe"}),
    ("/people/disable", {"name": "nobody"})])
def test_what_a_keeper_cannot_do(asked, site, path, given):
    before = site.people.all()
    assert asked(Role.KEEPER).post(path, data=given).status_code == 400
    assert site.people.all() == before


def test_the_command_line_keeps_the_same_accounts(site, tmp_path, capfd):
    file, word = str(site.station.file), tmp_path / "word"
    word.write_text(WORD + "\n", encoding="utf-8")
    assert program.run(["people", "add", "B. Star", "--role", "operator", "--role", "engineer", "--badge", "B-55",
                        "--password-file", str(word), "--station", file]) == 0
    assert site.people.by_password("B. Star", WORD).roles == {Role.OPERATOR, Role.ENGINEER}
    assert {"what": "add a person", "about": "B. Star", "where": "command line"}.items() <= last(site).items()
    assert program.run(["people", "list", "--station", file]) == 0
    assert "B. Star" in capfd.readouterr().out
    assert program.run(["people", "disable", "B. Star", "--station", file]) == 0
    assert site.people.by_badge("B-55") is None
    assert program.run(["people", "give", "B. Star", "--badge", "B-56", "--station", file]) == 0
    assert site.people.by_badge("B-56").name == "B. Star"
    for wrong in (["add", "C. Star", "--role", "engineer"], ["disable", "nobody"], ["add", "B. Star", "--role",
                  "operator", "--badge", "B-57"], ["give", "B. Star", "--password-file", str(tmp_path / "none")]):
        assert program.run(["people", *wrong, "--station", file]) == 2
    kept = People(people_folder(site.station), system_clock())
    assert Trail(kept, system_clock()).entries(limit=10_000)
    assert WORD not in capfd.readouterr().out
