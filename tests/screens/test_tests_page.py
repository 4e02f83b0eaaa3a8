"""Stored tests shown: the list with its filters, one test, its waveforms, its budgets; and to whom."""

import json
import re
import struct

import numpy as np
import pytest

from station.record.store import Store
from station.screens.access import Role

SERIALS = ("CP40-0001", "CP40-0102")    # a good motor, one with a reversed magnet


@pytest.fixture(scope="module")
def site(tested):
    return tested


@pytest.fixture
def records(site):
    with Store(site.station.store, read_only=True) as store:
        return {serial: store.show(serial)[0] for serial in SERIALS}


def test_the_list_and_its_filters(asked):
    client = asked(Role.ENGINEER)
    assert all(serial in client.get("/tests").text for serial in SERIALS)
    for query, there in (("serial=CP40-01*", SERIALS[1]), ("verdict=PASS", SERIALS[0]), ("verdict=FAIL", SERIALS[1])):
        text = client.get(f"/tests?{query}").text
        assert [serial for serial in SERIALS if f"/tests/{serial}/1" in text] == [there]
    assert "0 tests" in client.get("/tests?until=2020-01-01").text
    assert client.get("/tests?verdict=GOOD").status_code == 400


def test_one_test_shows_every_judged_value_and_its_findings(asked, records):
    for serial in SERIALS:
        text = asked(Role.AUDITOR).get(f"/tests/{serial}/1").text
        for row in records[serial]["judged"]:
            assert row["name"] in text
        for finding in records[serial]["findings"]:
            assert finding["text"] in text
        assert text.count('<polyline class="wave') == 3


def test_the_codes_of_the_sensors_are_the_six_legal_ones(asked):
    text = asked(Role.ENGINEER).get(f"/tests/{SERIALS[0]}/1").text
    assert set(re.findall(r'class="name"[^>]*>([01]{3})<', text)) == {"001", "010", "011", "100", "101", "110"}


def test_another_motor_drawn_beside_it(asked):
    client = asked(Role.ENGINEER)
    text = client.get(f"/tests/{SERIALS[1]}/1?beside={SERIALS[0]}").text
    assert text.count('<polyline class="wave') == 6
    assert client.get(f"/tests/{SERIALS[1]}/1?beside=CP40-9999").status_code == 400


def test_a_window_of_a_capture_holds_its_samples(asked, records, site):
    client, record = asked(Role.ENGINEER), records[SERIALS[0]]
    with Store(site.station.store, read_only=True) as store:
        capture = store.captures(record)[1]
    answer = client.get(f"/tests/{SERIALS[0]}/1/captures/2/wave?first=1000&last=1500&columns=800").content
    (length,) = struct.unpack_from("<I", answer)
    head = json.loads(answer[4:4 + length])
    assert (head["per"], head["columns"], head["first"], head["size"]) == (1, 500, 1000, capture.size)
    shown = np.frombuffer(answer, "<f4", 500, 4 + length)
    channel = capture.channels["v_ab"]
    assert np.allclose(shown, channel.scale * capture.codes["v_ab"][1000:1500] + channel.offset, rtol=1e-6, atol=1e-6)


@pytest.mark.parametrize("query", ["", "first=a&last=2&columns=3", "first=1&last=2&columns=1e3",
                                   "first=1&last=99999999999999999999&columns=3"])
def test_a_window_that_cannot_be(asked, query):
    assert asked(Role.ENGINEER).get(f"/tests/{SERIALS[0]}/1/captures/1/wave?{query}").status_code == 400


@pytest.mark.parametrize("path", ["/tests/CP40-9999/1", f"/tests/{SERIALS[0]}/2", f"/tests/{SERIALS[0]}/x",
                                  f"/tests/{SERIALS[0]}/1/captures/9/wave?first=0&last=9&columns=9",
                                  f"/tests/{SERIALS[0]}/1/captures/0/poles", "/tests/..%2f..%2fetc/1",
                                  f"/tests/{SERIALS[0]}/1/budget?name=nothing"])
def test_what_is_not_there_is_told(asked, path):
    answer = asked(Role.ENGINEER).get(path)
    assert answer.status_code in (400, 404)
    assert "Traceback" not in answer.text


def test_poles_show_the_reversed_magnet(asked):
    client = asked(Role.ENGINEER)
    spans = []
    for serial in SERIALS:
        text = client.get(f"/tests/{serial}/1/captures/1/poles").text
        gains = [float(cell) for cell in re.findall(r"<td>([+-][0-9.]+)</td>", text)]
        assert len(gains) == 3 * 8
        spans.append(max(gains) - min(gains))
    assert spans[0] < 2
    assert spans[1] > 5


def test_a_budget_adds_up(asked, records):
    record = records[SERIALS[0]]
    measured = next(m for m in record["measurements"] if m["name"] == "hall_placement.b")
    text = asked(Role.AUDITOR).get(f"/tests/{SERIALS[0]}/1/budget",
                                   params={"name": measured["name"], "capture": measured["label"]}).text
    for row in measured["budget"]:
        assert row["source"] in text
    shares = [float(share) for share in re.findall(r"([0-9.]+)\u00a0%", text)]
    assert sum(shares) == pytest.approx(100, abs=0.5)
