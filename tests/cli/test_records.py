"""`station records budget` on a stored test: rows, what they come to, and every wrong question."""

import json
import re
from math import sqrt

import pytest

from station.exit_code import ExitCode


def test_budget_of_a_stored_test(folder, command):
    station = folder / "station.toml"
    assert command("test", "CP40-0001", "--station", station)[0] == ExitCode.PASS
    record = json.loads(command("records", "show", "CP40-0001", "--station", station, "--json")[1])

    first = record["captures"][0]["label"]

    def budget(*words):
        return command("records", "budget", "CP40-0001", *words, "--station", station)

    code, out, _ = budget("hall_placement.b", "--capture", first)
    assert code == 0
    stored = next(m for m in record["measurements"]
                  if (m["name"], m["label"]) == ("hall_placement.b", first))
    assert all(row["source"] in out for row in stored["budget"])
    expanded, k = (float(re.search(rf", {word} ([0-9.e+-]+)", out).group(1)) for word in "Uk")
    assert expanded == pytest.approx(k * stored["u"], rel=0.06)  # two digits
    assert float(re.search(r"^u ([0-9.e-]+) °", out, re.MULTILINE).group(1)) == pytest.approx(stored["u"], rel=1e-3)
    assert sqrt(sum(row["u"]**2 for row in stored["budget"])) == pytest.approx(stored["u"], rel=1e-9)
    shares = [float(share) for share in re.findall(r"([0-9.]+) %  *│", out)]
    assert sum(shares) == pytest.approx(100, abs=0.5)

    code, out, _ = budget("hall_placement.b")
    assert (code, out.count("hall_placement.b @ ")) == (0, len(record["captures"]))
    assert "hall_position" in budget("hall_position.a")[1]

    for words, names in ((("hall_placement",), "hall_placement.b"), (("colour",), "winding_resistance.ab"),
                         (("hall_placement.b", "--capture", "forward 1"), first),
                         (("hall_position.a", "--capture", first), "belongs to no capture")):
        code, _, err = budget(*words)
        assert (code, names in err) == (ExitCode.WRONG_USE, True)
    code, _, err = command("records", "budget", "CP40-9999", "hall_placement.b", "--station", station)
    assert (code, "records find" in err) == (ExitCode.WRONG_USE, True)
