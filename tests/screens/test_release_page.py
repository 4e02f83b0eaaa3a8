"""A draft comes into force by a second person with their password, by what they saw, once; else nothing happens."""

import json
import re
import shutil
import time
from concurrent.futures import ThreadPoolExecutor
from contextlib import ExitStack, contextmanager, redirect_stdout
from io import StringIO

import httpx
import pytest

from station.cli import program
from station.cli.serve import opened_site
from station.clock import system_clock
from station.errors import UsageError
from station.judgement.limit_file import parse_limits
from station.record.log_key import PUBLIC_FILE, load_verifier
from station.record.release_entry import verify_release
from station.record.store import Kept
from station.screens.access import Role
from station.screens.demo_people import PASSWORD
from station.screens.release_forms import GOOD_FOR, KEPT, Forms, Seen
from station.sequence.opening import open_store
from station.sequence.station_file import load_station
from station.toml_file import read_toml

DRAFT, REASON = "CP-40-B.toml", "motors with weak magnets were shipped"
PATIENCE = 100      # s, of a loaded machine


def drafted(text, number="B", lower="10.3"):
    """Return a draft made from the limits in force."""
    lines = [line for line in text.splitlines() if not line.startswith("released_")]
    return "\n".join(lines).replace('number = "A"', f'number = "{number}"').replace("lower = 9.6", f"lower = {lower}")


class Desk:
    """A station's pages, and somebody of each role before them."""

    def __init__(self, site, address, accounts, stack):
        self.site, self.station = site, site.station
        self._address, self._accounts, self._stack = address, accounts, stack
        self.engineer, self.releaser = self.sit_down(Role.ENGINEER), self.sit_down(Role.RELEASER)

    def sit_down(self, role):
        client = self._stack.enter_context(httpx.Client(base_url=self._address, headers={"origin": self._address},
                                                        timeout=PATIENCE))
        assert client.post("/sign-in", data=self._accounts[role]).status_code == 303
        return client

    @property
    def file(self):
        return self.station.limits / "CP-40.toml"

    def in_force(self):
        return parse_limits(read_toml(self.file))

    def keep(self, client, name=DRAFT, **other):
        text = drafted((self.station.limits / "CP-40.toml").read_text(), **other)
        assert client.post(f"/files/limits/{name}", data={"text": text}).status_code == 200
        return self.station.folder / "drafts" / "limits" / name

    def page(self, client, name=DRAFT, *, study=False):
        """Return the page of a draft; with `study` that is made anew."""
        address = f"/limits/release/{name}"
        if study:
            assert client.post(f"{address}/study").status_code == 303
        end = time.monotonic() + PATIENCE
        while "data-wait" in (text := client.get(address).text):
            assert time.monotonic() < end
            time.sleep(0.05)
        return text

    def send(self, client, token, name=DRAFT, reason=REASON, password=PASSWORD):
        return client.post(f"/limits/release/{name}", data={"token": token, "reason": reason, "password": password})

    def releases(self):
        with self.site.store() as store:
            return store.statements("release")

    def trail(self):
        return [json.loads(body) for _, body in self.site.trail.entries(limit=100_000)]


def store_again(station, serial, other):
    """Store the test of one motor once more, as that of another."""
    with open_store(station) as store:
        record = {**store.show(serial)[0], "serial": other}
        run = store.begin(other, started=record["started"])
        kept = [Kept(f"captures/{run}-{number}.parquet", "0" * 64, "0" * 64)
                for number in range(len(record["captures"]))]
        store.finish(run, {name: said for name, said in record.items() if name != "log"}, kept)


def token_of(text):
    found = re.search(r'name="token" value="([^"]+)"', text)
    return found[1] if found else ""


@pytest.fixture(scope="module")
def opened_at(serving, peopled, accounts):
    """Return a context: the desk of a station folder."""
    @contextmanager
    def at(folder, *, look_only=True):
        with ExitStack() as stack:
            site = stack.enter_context(opened_site(load_station(folder / "station.toml"), system_clock(),
                                                   look_only=look_only))
            yield Desk(site, stack.enter_context(serving(peopled(site))), accounts, stack)
    return at


@pytest.fixture(scope="module")
def studied(tested, tmp_path_factory, opened_at):
    """The tested station without the people of other tests, with a draft by the engineer and the study of it."""
    folder = tmp_path_factory.mktemp("studied") / "line"
    shutil.copytree(tested.station.folder, folder, ignore=shutil.ignore_patterns("people"))
    with opened_at(folder) as desk:
        desk.keep(desk.engineer)
        assert token_of(desk.page(desk.releaser, study=True))
    return folder


@pytest.fixture
def folder(studied, tmp_path):
    shutil.copytree(studied, tmp_path / "line")
    return tmp_path / "line"


@pytest.fixture
def desk(folder, opened_at):
    with opened_at(folder) as desk:
        yield desk


def refused(answer, status, told):
    assert answer.status_code == status, answer.text
    assert told in answer.text
    return True


def test_a_draft_is_seen_signed_and_in_force(desk):
    before = desk.in_force()
    text = desk.page(desk.releaser, study=True)
    assert "lower limit narrower by 0.7" in text
    assert "Written by R. Fink." in text
    assert 'class="broken"' not in text
    assert "1 test(s) turn from PASS to FAIL" in text
    answer = desk.send(desk.releaser, token_of(text))
    assert (answer.status_code, answer.headers.get("location")) == (303, "/limits")
    now, (said,) = desk.in_force(), desk.releases()
    assert (now.revision.number, now.revision.released_by, now.revision.reason) == ("B", "S. Olm", REASON)
    assert (said["sha256"], said["person"], said["reason"]) == (now.sha256, "S. Olm", REASON)
    assert said["predecessor"]["sha256"] == before.sha256
    verify_release(said, [load_verifier(desk.station.keys / PUBLIC_FILE)])
    last = desk.trail()[-1]
    assert {"who": "S. Olm", "what": "release limits", "why": REASON, "good": True}.items() <= last.items()
    assert now.sha256 in last["about"]
    listed = desk.engineer.get("/limits").text
    assert REASON in listed
    assert "<td>R. Fink</td>" in listed
    assert "released</td>" in listed        # in place of the way to release it again
    with redirect_stdout(StringIO()):
        assert program.run(["limits", "history", "CP-40", "--station", str(desk.station.file)]) == 0
    # sent once more, and the page opened once more
    assert refused(desk.send(desk.releaser, token_of(text)), 400, "sent already")
    assert token_of(desk.page(desk.releaser)) == ""


def test_who_enters_no_reason_or_a_wrong_password_releases_nothing_and_cannot_try_for_ever(desk):
    token = token_of(desk.page(desk.releaser))
    for reason in ("", "   ", "x" * 400, "a\x00b"):
        assert desk.send(desk.releaser, token, reason=reason).status_code == 400
    for _ in range(10):
        assert refused(desk.send(desk.releaser, token, password="another password"), 403, "not your password")
    assert refused(desk.send(desk.releaser, token), 429, "too many failed")
    assert desk.releases() == []
    last = desk.trail()[-1]
    assert {"who": "S. Olm", "what": "release limits", "good": False}.items() <= last.items()
    assert "another password" not in json.dumps(desk.trail())


def test_nobody_releases_their_own_draft_nor_one_they_had_a_part_in(desk):
    token = token_of(desk.page(desk.releaser))
    desk.keep(desk.releaser, "own.toml", number="C")
    text = desk.page(desk.releaser, "own.toml")
    assert "Nobody releases their own draft" in text
    assert token_of(text) == ""
    assert refused(desk.send(desk.releaser, token, "own.toml"), 403, "nobody releases their own draft")
    desk.keep(desk.releaser, lower="9.8")       # their number in the engineer's draft, which the engineer keeps again
    desk.keep(desk.engineer, lower="9.75")
    text = desk.page(desk.releaser)
    assert "Written by R. Fink, S. Olm." in text
    assert token_of(text) == ""
    assert refused(desk.send(desk.releaser, token), 403, "nobody releases their own draft")
    assert desk.releases() == []
    assert [one["good"] for one in desk.trail() if one["what"] == "release limits"] == [False, False]


def test_what_is_not_fit_has_no_form(desk):
    desk.keep(desk.engineer, "again.toml", number="A")
    text = desk.page(desk.releaser, "again.toml")
    assert "this revision was released before" in text
    assert "A study is missing" in text
    assert token_of(text) == ""
    path = desk.keep(desk.engineer)
    assert token_of(desk.page(desk.releaser))
    path.write_text(path.read_text().replace("lower = 10.3", "lower = 10.2"))      # by hand, past the pages
    text = desk.page(desk.releaser)
    assert "nobody kept this text here" in text
    assert token_of(text) == ""


def test_what_was_changed_since_it_was_seen_is_not_released(desk):
    token = token_of(desk.page(desk.releaser))
    desk.keep(desk.engineer, lower="9.8")
    assert refused(desk.send(desk.releaser, token), 400, "the draft was changed meanwhile")
    desk.keep(desk.engineer)
    # the study of the draft, made anew meanwhile by somebody else
    token = token_of(desk.page(desk.releaser))
    desk.page(desk.engineer, study=True)
    assert refused(desk.send(desk.releaser, token), 400, "the study was made anew meanwhile")
    # the limits that it replaces
    token = token_of(desk.page(desk.releaser))
    edited = desk.file.read_text() + "\n# edited\n"
    desk.file.write_text(edited)
    assert refused(desk.send(desk.releaser, token), 400, "limits in force were changed meanwhile")
    assert (desk.releases(), desk.file.read_text()) == ([], edited)


def test_a_form_sent_twice_at_once_releases_once(desk):
    token = token_of(desk.page(desk.releaser))
    with ThreadPoolExecutor(2) as both:
        answers = [one.result() for one in [both.submit(desk.send, desk.releaser, token) for _ in range(2)]]
    assert sorted(answer.status_code for answer in answers) == [303, 400]
    assert any("sent already" in answer.text for answer in answers)
    assert len(desk.releases()) == 1


def test_tests_that_came_since_are_judged_before_and_stop_it_if_they_change_what_was_seen(desk):
    token = token_of(desk.page(desk.releaser))
    store_again(desk.station, "CP40-0001", "CP40-0002")     # passes, and would not by the draft
    assert refused(desk.send(desk.releaser, token), 400, "CP40-0002 run 1 FAIL")
    text = desk.page(desk.releaser)
    assert "2 test(s) turn from PASS to FAIL" in text       # so that it can be looked at
    store_again(desk.station, "CP40-0102", "CP40-0103")     # fails by both
    assert desk.send(desk.releaser, token_of(text)).status_code == 303
    (said,) = desk.releases()
    with desk.site.store() as store:
        assert said["study"]["log_size"] == len(store.log) - 1      # all but the release itself


def test_the_last_release_is_put_back_where_its_file_was_edited(desk):
    desk.send(desk.releaser, token_of(desk.page(desk.releaser)))
    released = desk.file.read_bytes()
    assert "is not the one released last" not in desk.releaser.get("/limits").text
    desk.file.write_bytes(released.replace(b"10.3", b"9.1"))
    assert "is not the one released last, revision B" in desk.releaser.get("/limits").text
    assert desk.engineer.post("/limits/restore/CP-40").status_code == 403
    assert desk.releaser.post("/limits/restore/CP-40").status_code == 303
    assert desk.file.read_bytes() == released
    assert desk.trail()[-1]["what"] == "restore limits"
    assert refused(desk.releaser.post("/limits/restore/VB-24"), 400, "nothing of this type was released")


def test_an_earlier_revision_comes_back_as_a_draft_of_its_own(desk):
    before = desk.in_force()
    desk.send(desk.releaser, token_of(desk.page(desk.releaser)))
    earlier = re.search(r'href="(/limits/what-if\?file=released/CP-40-B-[^"]+)"', desk.engineer.get("/limits").text)[1]
    assert "revision B" in desk.engineer.get(earlier).text
    file = f"released/CP-40-A-{before.sha256[:8]}.toml"
    text = desk.engineer.get("/limits/what-if", params={"file": file}).text
    assert 'name="name" value="CP-40-C.toml"' in text       # as A and B were in force
    kept = desk.engineer.post("/limits/what-if/keep", data={
        "file": file, "name": "CP-40-C.toml", "number": "C", "note": "B rejects good motors."})
    assert kept.status_code == 303
    draft = parse_limits(read_toml(desk.station.folder / "drafts" / "limits" / "CP-40-C.toml"))
    assert (draft.limits, draft.revision.released_by) == (before.limits, None)
    text = desk.page(desk.releaser, "CP-40-C.toml", study=True)
    assert "lower limit wider by 0.7" in text
    assert desk.send(desk.releaser, token_of(text), "CP-40-C.toml").status_code == 303
    assert [said["revision"] for said in desk.releases()] == ["B", "C"]
    assert desk.in_force().limits == before.limits


def test_at_the_line_it_comes_into_force_between_two_motors(folder, opened_at):
    with opened_at(folder, look_only=False) as desk, ThreadPoolExecutor(1) as beside:
        token = token_of(desk.page(desk.releaser))
        assert desk.site.line.arm("CP40-0002", "K. Amsel").limit_revision == "A"
        sent = beside.submit(desk.send, desk.releaser, token)
        time.sleep(1.0)
        assert not sent.done()
        assert desk.in_force().revision.number == "A"
        desk.site.line.withdraw()
        assert sent.result(PATIENCE).status_code == 303
        assert desk.site.line.arm("CP40-0002", "K. Amsel").limit_revision == "B"


def test_forms_are_good_once_for_one_person_and_not_for_ever():
    forms, seen = Forms(), Seen("draft", "in force", "study")
    token = forms.give("S. Olm", seen, 0.0)
    assert forms.look(token, "S. Olm", GOOD_FOR) == seen
    for who, now, other in (("R. Fink", 0.0, token), ("S. Olm", GOOD_FOR + 1, token), ("S. Olm", 0.0, token + "x"),
                            ("S. Olm", 0.0, "")):
        with pytest.raises(UsageError, match="sent already"):
            forms.take(other, who, now)
    assert forms.take(token, "S. Olm", 1.0) == seen
    with pytest.raises(UsageError, match="sent already"):
        forms.take(token, "S. Olm", 1.0)
    first = forms.give("S. Olm", seen, 0.0)
    for _ in range(KEPT):
        forms.give("R. Fink", seen, 0.0)
    with pytest.raises(UsageError, match="sent already"):
        forms.look(first, "S. Olm", 0.0)
