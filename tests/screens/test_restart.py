"""What a line still knows after its program was ended and started again."""

import httpx
import pytest

from station.cli import program
from station.cli.serve import opened_site
from station.cli.setup import write_folder
from station.clock import system_clock
from station.screens.access import Role
from station.screens.operator_view import key_of
from station.sequence.station_file import load_station


@pytest.fixture
def station(tmp_path):
    """A station that locks after one failure, in whose store one motor has failed."""
    write_folder(tmp_path / "line", pace=50.0, free_ports=True)
    file = tmp_path / "line" / "station.toml"
    file.write_text(file.read_text("utf-8") + "\n[panel]\nfails_in_a_row = 1\n", "utf-8")
    program.run(["test", "CP40-0102", "--station", str(file)])
    return load_station(file)


def opened(station):
    return opened_site(station, system_clock(), look_only=False)


def is_locked(site):
    return key_of(site.line.state, by_fails=site.line.is_locked_by_fails(site.line.state)) == "locked"


def test_failures_in_a_row_and_who_unlocked_the_line_outlive_the_program(station, peopled, serving, accounts):
    with opened(station) as site:
        assert is_locked(peopled(site))
    with opened(station) as site, serving(site) as address, httpx.Client(
            base_url=address, headers={"origin": address}, timeout=20) as engineer:
        assert is_locked(site)
        assert engineer.post("/sign-in", data=accounts[Role.ENGINEER]).status_code == 303
        leave = {**accounts[Role.ENGINEER], "serial": "", "reason": "the motor was at fault"}
        assert engineer.post("/line/leave", data=leave).status_code == 303
        assert not is_locked(site)
    with opened(station) as site:
        assert site.line.state.fails == 0
