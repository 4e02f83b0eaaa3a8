"""A speed whose input was clipped is visited again on a wider range, as drive, digitizer and record tell it."""

import json

import numpy as np
import pytest

from station.cli.setup import write_folder
from station.cli.workplace import open_workplace
from station.sequence.station_file import load_station

SERIAL, PEAK = "CP40-0001", 10.0        # V/krpm, of a good motor
LABELS = ["forward 1000", "forward 2000", "reverse 1000", "reverse 2000"]


def outcome_at(folder, upper):
    """Test a good motor against at most `upper` V/krpm; return record, notices, lines said and captures."""
    write_folder(folder, pace=50.0, free_ports=True)
    limits, notices = folder / "limits" / "CP-40.toml", []
    text = limits.read_text()
    peak = "back_emf_constant_peak = { unit = \"V/krpm\", lower = 9.6, upper = 10.4 }"
    assert peak in text
    limits.write_text(text.replace(peak, peak.replace("9.6", "1.0").replace("10.4", str(upper))))
    with open_workplace(load_station(folder / "station.toml"), "tester") as place:
        record = place.test(SERIAL, notices.append).record
        lines = [json.loads(line) for line in place.store.transcript(record).splitlines()]
        return record, notices, [(e["role"], e["text"]) for e in lines if e["direction"] == "to"], \
            place.store.captures(record)


@pytest.fixture(scope="module")
def revisited(tmp_path_factory):
    # 1.5 x 6 V/krpm is too little for 10 V/krpm, twice that is enough.
    return outcome_at(tmp_path_factory.mktemp("once") / "line", 6.0)


def test_the_verdict_rests_on_the_second_visit(revisited):
    record, _, _, captures = revisited
    assert record["verdict"] == "FAIL"
    peaks = {m["label"]: m["value"] for m in record["measurements"] if m["name"] == "back_emf_constant_peak.ab"}
    assert sorted(peaks) == sorted(LABELS)
    for value in peaks.values():
        assert value == pytest.approx(PEAK, rel=0.02)
    assert not any(entry["refused"] for entry in record["captures"])
    for capture in captures:
        codes, channel = capture.codes["v_ab"], capture.channels["v_ab"]
        assert channel.code_min < np.min(codes) <= np.max(codes) < channel.code_max


def test_every_speed_is_told_and_visited_again_after_all_others(revisited):
    record, notices, said, _ = revisited
    told = [notice.text for notice in notices if "clipped" in notice.text]
    assert told == [f"{label}: input clipped, taken again on a wider range" for label in LABELS]
    reached = [notice.text.split(":")[0] for notice in notices if notice.kind == "speed"]
    assert reached == LABELS + LABELS
    assert sum(text == "INIT" for role, text in said if role == "digitizer") == 8
    assert len(record["captures"]) == 4


def test_the_range_is_doubled(revisited):
    _, _, said, _ = revisited
    ranges = [float(text.split()[-1]) for role, text in said if role == "digitizer" and "VOLT1:RANG " in text]
    assert ranges[:4] == pytest.approx([9.0, 18.0, 9.0, 18.0])
    assert ranges[4:] == pytest.approx([18.0, 36.0, 18.0, 36.0])


def test_what_is_clipped_even_so_is_kept_and_gives_no_result(tmp_path):
    record, _, said, captures = outcome_at(tmp_path / "line", 2.9)
    assert record["verdict"] == "NO RESULT"
    assert len(captures) == 4
    assert [entry["refused"]["code"] for entry in record["captures"]] == ["clipped"] * 4
    assert sum(text == "INIT" for role, text in said if role == "digitizer") == 8     # no third visit
