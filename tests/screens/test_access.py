"""Every page with every role and with none; and nothing from other sites."""

import re

import pytest

from station.screens.access import MAY, Duty, Role, may
from station.screens.app import PAGES
from station.screens.demo_people import PASSWORD


def test_every_duty_but_none_has_somebody():
    assert set(MAY) == set(Duty) - {Duty.NONE}
    assert all(MAY.values())


def test_an_operator_tests_and_nothing_else():
    assert {duty for duty in Duty if may([Role.OPERATOR], duty)} == {Duty.NONE, Duty.SIGNED_IN, Duty.TEST}


def test_nobody_releases_who_may_not_draft():
    assert MAY[Duty.RELEASE] <= MAY[Duty.DRAFT]


@pytest.mark.parametrize("role", [None, *Role])
def test_every_page_with_every_role(role, asked):
    client = asked(role)
    for page in PAGES:
        if page.path in ("/sign-out", "/sign-in") and page.post:
            continue    # would change who asks
        address = page.path.replace("{", "").replace("}", "")
        answer = client.post(address) if page.post else client.get(address)
        allowed = may([role] if role else [], page.duty)
        if allowed:
            assert answer.status_code not in (401, 500, 503), (page.path, answer.text[:500])
        elif role is None:
            assert answer.status_code == (401 if page.post else 303), page.path
            assert page.post or answer.headers["location"].startswith("/sign-in?then="), page.path
        else:
            assert answer.status_code == 403, page.path
            assert "not among your duties" in answer.text


@pytest.mark.parametrize("origin", ["http://elsewhere.invalid", "null", "", None])
def test_nothing_is_done_for_another_site(origin, asked, address):
    client = asked(Role.OPERATOR)
    del client.headers["origin"]
    headers = {} if origin is None else {"origin": origin}
    for page in PAGES:
        if page.post:
            answer = client.post(page.path, headers=headers)
            assert answer.status_code in (403, 401), page.path
            assert "did not come from a page of the station" in answer.text or "not among your duties" in answer.text
    assert client.get("/line").status_code == 200     # still signed in


def test_another_site_in_the_same_browser_is_told_by_its_header(asked, address):
    client = asked(Role.OPERATOR)
    assert client.post("/sign-out", headers={"sec-fetch-site": "cross-site"}).status_code == 403


def test_a_foreign_host_name_is_refused(asked):
    assert asked().get("/sign-in", headers={"host": "station.invalid"}).status_code == 400


def test_headers_of_every_answer(asked):
    for path in ("/sign-in", "/line", "/nowhere", "/assets/0/x.css"):
        answer = asked().get(path)
        assert answer.headers["content-security-policy"].startswith("default-src 'none'")
        assert answer.headers["x-content-type-options"] == "nosniff"
        assert answer.headers["referrer-policy"] == "same-origin"   # with none, our forms would be refused
        assert answer.headers["cache-control"] == "no-store"
        assert "server" not in answer.headers or "uvicorn" not in answer.headers["server"]


def test_a_fault_of_the_program_is_told_by_a_reference_and_nothing_else(asked, monkeypatch, capfd):
    def broken(_words):
        raise RuntimeError("secret of the inside")

    monkeypatch.setattr("station.screens.sign_in.cookie_name", broken)
    answer = asked().post("/sign-in", data={"name": "R. Fink", "password": PASSWORD})
    assert answer.status_code == 500
    assert "secret" not in answer.text
    (reference,) = re.findall(r"reference ([0-9a-f]{8})", answer.text)
    told = capfd.readouterr().err
    assert reference in told
    assert "secret of the inside" in told
    assert PASSWORD not in told
