"""Whatever goes wrong is told by a whole page in the person's language, with the error's own words beside."""

import httpx
import pytest

from station.screens.access import Role
from station.screens.words import languages


@pytest.fixture
def stranger(tested_address):
    with httpx.Client(base_url=tested_address, headers={"origin": tested_address}, timeout=20) as client:
        yield client


@pytest.mark.parametrize("code", languages())
@pytest.mark.parametrize(("method", "address", "status"), [
    ("GET", "/nowhere", 404), ("GET", "/tests/", 404), ("PUT", "/sign-in", 405), ("POST", "/evidence/archive", 401)])
def test_what_no_page_answers_is_told_by_a_page(stranger, code, method, address, status):
    answer = stranger.request(method, address, headers={"accept-language": code})
    words = languages()[code]
    assert answer.status_code == status
    assert f'<html lang="{code}">' in answer.text
    assert words.text(f"trouble.{status}") in answer.text
    assert words.text(f"trouble.{status}.do") in answer.text
    assert words.text("home") in answer.text
    assert "content-security-policy" in answer.headers
    assert ("allow" in answer.headers) == (status == 405)


@pytest.mark.parametrize("code", languages())
def test_an_error_of_a_page_is_said_in_the_language_and_in_its_own_words(reads, code):
    auditor = reads(Role.AUDITOR)
    answer = auditor.get("/evidence/CP40-9999/1", headers={"accept-language": code})
    assert answer.status_code == 400
    assert languages()[code].text("trouble.400") in answer.text
    assert "no such test" in answer.text
    refused = auditor.get("/people", headers={"accept-language": code})
    assert refused.status_code == 403
    assert languages()[code].text("trouble.403.do") in refused.text


def test_who_asks_for_json_is_answered_in_json(stranger):
    answer = stranger.get("/nowhere", headers={"accept": "application/json"})
    assert (answer.status_code, answer.json()["where"]) == (404, "/nowhere")


def test_a_reason_with_words_of_its_own_is_told_in_them(asked, accounts):
    operator = asked(Role.OPERATOR)
    leave = {**accounts[Role.ENGINEER], "serial": "XX-0001", "reason": "seated anew"}
    answer = operator.post("/line/leave", data=leave, headers={"accept-language": "de"})
    assert answer.status_code == 403
    assert languages()["de"].text("refused.type.do") in answer.text
    assert '<body class="panel bright">' in answer.text     # letters and buttons of the panel, to be read at the line
    assert 'href="/line"' in answer.text


def test_a_hostile_address_is_shown_as_it_is_and_does_nothing(stranger):
    answer = stranger.get("/%3Cscript%3Ealert(1)%3C/script%3E")
    assert answer.status_code == 404
    assert "<script>" not in answer.text
