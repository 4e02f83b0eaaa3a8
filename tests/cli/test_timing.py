"""`station test --timing` tells physics from the station's own time, at the bench and by the clock."""

import pytest


def test_where_the_time_went_is_printed_at_the_bench_and_by_the_clock(command, folder):
    code, printed, _ = command("test", "CP40-0001", "--station", folder / "station.toml", "--timing")
    assert code == 0
    rows = [line for line in printed.splitlines() if "  capture  " in line]
    assert len(rows) == 1
    at_the_bench, by_the_clock = (float(number) for number in rows[0].split()[-2:])
    assert at_the_bench / by_the_clock == pytest.approx(20.0, rel=0.01)
    assert "waiting for a person" in printed
    assert printed.index("PASS") < printed.index("on top of physics")
