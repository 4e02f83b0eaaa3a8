"""Whatever is sent to any page, by anybody: a page or a clear error, never a fault, never what was sent as code."""

import re
from pathlib import Path
from urllib.parse import quote, urlencode

import httpx
import pytest
from argon2 import PasswordHasher
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from station import screens
from station.screens.access import Role, may
from station.screens.app import PAGES
from station.screens.attempts import Attempts

CLEAR = {200, 303, 400, 401, 403, 404, 405, 410, 429}
PASSED_OVER = {"/sign-out", "/sign-in", "/people/disable", "/people/end"}     # they would change who asks
# Every name of a field that any handler asks for, found in the source, so that no new page is left out: by itself, or
# in a list of names that is gone through.
SOURCE = "".join(path.read_text("utf-8") for path in Path(screens.__file__).parent.glob("*.py"))
LISTS = "".join(re.findall(r"for name in \(([^)]*)\)", SOURCE))
FIELDS = sorted({*re.findall(r'(?:given|form\.get|_whole|_number)\((?:ask, )?"([\w.]+)"', SOURCE),
                 *re.findall(r'"([\w.]+)"', LISTS), *(f"role.{role}" for role in Role)})
STORED = {"{serial}": "CP40-0102", "{run}": "1", "{number}": "1", "{kind}": "limits", "{name}": "CP-40.toml"}
MARK = "z9z"
NASTY = (
    "../../../../etc/passwd", "..\\..\\station.toml", "/etc/passwd", "%2e%2e%2fetc", "people.db", "file:///etc/passwd",
    f"<script>{MARK}()</script>", f'"><img src=x onerror={MARK}()>', f"'{MARK}='", "{{7*7}}", "${7*7}", "javascript:1",
    f"=HYPERLINK({MARK})", "+1+1", "-1-1", "@SUM(1)", "\t=1", "' OR 1=1 --", "*", "[a-z]*", "?" * 30, "(a+)+$",
    "\x00", "a\x00b", "\r\nSet-Cookie: a=b", "\x1b[2J", "\u202eedoc", "\u200b", "\ufeff", "é" * 40, "e\u0301", "\ud7ff",
    "９", "٣", "²", "½", "-0", "0", "-1", "1e999", "nan", "9" * 12, "9" * 30, "1" * 400, "x" * 1000, " ", "",
    "CP40-0001")
TEXTS = st.sampled_from(NASTY) | st.text(max_size=60)
ORDINARY = settings(max_examples=400, deadline=None, derandomize=True,
                    suppress_health_check=[HealthCheck.function_scoped_fixture])


def addressed(page, parts):
    """Return the address of `page` with `parts` in place of what it leaves open, as a browser would write it."""
    left = iter(parts)
    return re.sub(r"\{\w+\}", lambda _: quote(next(left), safe="") or "%20", page.path)


def sound(answer):
    """Hold an answer to what holds for each: told plainly, and nothing that was sent comes back as code."""
    assert answer.status_code in CLEAR, (answer.status_code, answer.request.url, answer.text[:600])
    assert "the program made a mistake" not in answer.text
    assert "set-cookie" not in answer.headers or "a=b" not in answer.headers["set-cookie"]
    if answer.headers.get("content-type", "").startswith("text/html"):
        assert f"<script>{MARK}" not in answer.text
        assert f"<img src=x onerror={MARK}" not in answer.text
        assert "root:x:0" not in answer.text
    if answer.status_code >= 400 and answer.headers.get("content-type", "").startswith("text/html"):
        assert 'role="alert"' in answer.text


def stored(page):
    """Return the address of `page` for what there is."""
    return re.sub(r"\{\w+\}", lambda found: STORED.get(found.group(), "1"), page.path)


def by_role():
    """Return each page with the first role that may use it."""
    order = (Role.ENGINEER, Role.RELEASER, Role.KEEPER, Role.AUDITOR, Role.OPERATOR)
    return [(page, next(role for role in order if may([role], page.duty))) for page in PAGES
            if not (page.post and page.path in PASSED_OVER)]


@pytest.fixture(autouse=True)
def as_often_as_wanted(site, monkeypatch):
    """So many tries would be held up, and hashing them would take minutes; both are tested beside this."""
    monkeypatch.setattr(Attempts, "begin", lambda *_words: None)
    cheap = PasswordHasher(time_cost=1, memory_cost=8, parallelism=1)
    monkeypatch.setattr(site.people, "_hasher", cheap)      # verifies what the other has hashed, too
    monkeypatch.setattr(site.people, "_nobody", cheap.hash("x"))


@pytest.fixture
def clients(asked):
    """Return a client for each role, as far as one is asked for."""
    made = {}
    return lambda role: made.get(role) or made.setdefault(role, asked(role))


def carry_out(client, page, parts, fields, accept="text/html"):
    address, headers = addressed(page, parts), {"accept": accept}
    if page.post:
        return client.post(address, data=fields, headers=headers)
    return client.get(f"{address}?{urlencode(fields)}", headers=headers)


def test_fields_are_found_in_the_source():
    assert {"name", "password", "serial", "reason", "text", "capture", "first", "since", "then"} <= set(FIELDS)


def test_each_nasty_text_in_each_place_of_each_page(clients):
    for page, role in by_role():
        for text in NASTY:
            sound(carry_out(clients(role), page, [text] * page.path.count("{"), dict.fromkeys(FIELDS, text)))
    assert clients(Role.ENGINEER).get("/").headers["location"] != "/sign-in"      # still signed in


def test_each_nasty_text_in_each_field_of_what_is_stored(reads):
    client, reached = reads(Role.ENGINEER), set()
    for page, _ in by_role():
        if page.post or "{" not in page.path or client.get(stored(page)).status_code != 200:
            continue
        reached.add(page.path)
        for text in NASTY:
            sound(client.get(f"{stored(page)}?{urlencode(dict.fromkeys(FIELDS, text))}"))
    assert {"/tests/{serial}/{run}", "/files/{kind}/{name}"} <= reached     # else nothing stored was asked for


@ORDINARY
@given(st.data())
def test_any_text_anywhere(clients, data):
    page, role = data.draw(st.sampled_from(by_role()))
    parts = data.draw(st.lists(TEXTS, min_size=4, max_size=4))
    fields = data.draw(st.dictionaries(st.sampled_from(FIELDS) | TEXTS, TEXTS, max_size=6))
    accept = data.draw(st.sampled_from(["text/html", "application/json"]))
    answer = carry_out(clients(role), page, parts, fields, accept)
    sound(answer)
    if answer.headers.get("content-type") == "application/json" and answer.status_code >= 400:
        assert answer.json().keys() == {"what", "where", "expected", "got", "remedy"}


@pytest.mark.parametrize("role", [None, Role.ENGINEER, Role.KEEPER])
def test_bodies_that_are_no_forms(role, asked):
    client = asked(role)
    bodies = (b"\xff\xfe\x00", b"%ff=%fe", b"a=%C0%80", "né=1".encode("utf-16"), b"{", b"&" * 5000, b"=" * 5000,
              b"a=1&" * 600, b"\x00" * 1000, "serial=ü".encode("latin-1"), b"")
    kinds = ("application/x-www-form-urlencoded", "application/json", "multipart/form-data; boundary=x", "text/plain")
    for page in PAGES:
        if page.post and page.path not in PASSED_OVER:
            for body in bodies:
                sound(client.post(addressed(page, ["CP40-0001"] * 4), content=body,
                                  headers={"content-type": kinds[len(body) % len(kinds)]}))


@pytest.mark.parametrize("role", [None, Role.ENGINEER, Role.KEEPER])
def test_ten_megabytes_are_refused_before_they_are_read(role, asked):
    client, much = asked(role), "x" * 10_000_000
    for page in PAGES:
        if page.post and page.path not in PASSED_OVER:
            address = addressed(page, ["CP40-0001"] * 4)
            try:
                answer = client.post(address, data={"text": much, "serial": "CP40-0001"})
            except (httpx.WriteError, httpx.RemoteProtocolError):
                continue    # the station closed the connection while it was still being sent
            sound(answer)
            assert answer.status_code in (400, 401, 403), page.path


def test_a_long_address_and_long_headers_do_no_harm(asked):
    for client in (asked(), asked(Role.ENGINEER)):
        for words in ({"url": f"/tests?serial={'x' * 60_000}"}, {"url": "/tests", "headers": {"x": "y" * 70_000}},
                      {"url": "/tests", "headers": {"x": "y" * 1_000_000}},
                      {"url": "/tests", "headers": {"cookie": f"station={'x' * 70_000}"}}):
            try:
                assert client.get(**words).status_code in {*CLEAR, 431}
            except (httpx.WriteError, httpx.ReadError, httpx.RemoteProtocolError):
                continue        # closed while it was still being sent
        assert asked().get("/sign-in").status_code == 200


@pytest.mark.parametrize("token", ["", "x" * 4000, "'; DROP TABLE sessions; --", "Ã©", "\x7f"])
def test_a_cookie_that_is_no_session_is_nobody(asked, token):
    answer = asked().get("/tests", headers={"cookie": f"station={token}".encode("latin-1")})
    assert answer.status_code == 303


@pytest.mark.parametrize("method", ["PUT", "DELETE", "PATCH", "OPTIONS", "TRACE", "BREW"])
def test_other_methods_do_nothing(asked, method):
    client = asked(Role.ENGINEER)
    for page in PAGES:
        assert client.request(method, addressed(page, ["CP40-0001"] * 4)).status_code == 405, page.path


def test_the_way_after_signing_in_never_leads_away(asked, accounts):
    for then in ("//elsewhere.invalid", "/\\elsewhere.invalid", "https://elsewhere.invalid", "/\t/elsewhere.invalid",
                 "/\n/elsewhere.invalid", "javascript:1", "\\\\elsewhere.invalid", "/%09/elsewhere.invalid"):
        answer = asked().post("/sign-in", data=accounts[Role.AUDITOR] | {"then": then})
        told = answer.headers.get("location", "")
        assert answer.status_code in (303, 400)
        assert re.match(r"^(/[^/\\\t\n]|/$|$)", told), told


def test_what_is_asked_for_is_never_a_file_of_the_computer(asked):
    client = asked(Role.ENGINEER)
    for path in ("/assets/0/..%2f..%2fapp.py", "/assets/../app.py", "/assets/0/%2e%2e/%2e%2e/app.py",
                 "/assets/0//etc/passwd", "/files/limits/..%2f..%2fstation.toml", "/files/..%2f/station.toml",
                 "/files/limits/.toml"):
        answer = client.get(path)
        assert answer.status_code in (400, 404), path
        assert "def " not in answer.text
        assert "[station]" not in answer.text


def test_no_hostile_scan_comes_into_the_trail_as_it_was(asked, site):
    client = asked(Role.OPERATOR)
    client.post("/line/scan", data={"text": "CP40\r\nat: yesterday\x1b[2J\u202e" + "x" * 3000})
    bodies = b"".join(body for _, body in site.trail.entries()).decode()
    assert bodies.isprintable()
    assert max(len(body) for _, body in site.trail.entries()) < 4000
