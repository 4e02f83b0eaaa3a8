"""`station serve --demo`: one command from nothing to signed-in people, and never a known password at a real bench."""

import os
import re
import signal
import subprocess
import sys
import time

import httpx
import pytest

from station.exit_code import ExitCode
from station.screens.access import Role
from station.screens.demo_people import PEOPLE
from station.screens.people import DATABASE
from station.simulated.free_port import free_ports

PATIENCE = 60       # s, of a loaded machine
HOMES = {"operator": "/line", "engineer": "/tests", "releaser": "/files", "auditor": "/evidence", "keeper": "/people"}


class Serving:
    """The command as a process of its own, started on a folder."""

    def __init__(self, folder):
        (port,) = free_ports(1)
        self.address, self._told = f"http://127.0.0.1:{port}", folder.with_suffix(".printed")
        with self._told.open("wb") as told:
            self._process = subprocess.Popen(
                [sys.executable, "-c", "from station.cli import main; main()", "serve", "--demo", str(folder), "--port",
                 str(port)], stdout=told, stderr=subprocess.STDOUT, env={**os.environ, "PYTHONUNBUFFERED": "1"})

    def printed(self):
        """Return what it says once it serves."""
        end = time.monotonic() + PATIENCE
        while "keeper" not in self._told.read_text():
            assert self._process.poll() is None, self._told.read_text()
            assert time.monotonic() < end
            time.sleep(0.1)
        return self._told.read_text()

    def client(self):
        return httpx.Client(base_url=self.address, headers={"origin": self.address}, timeout=20)

    def end(self):
        self._process.send_signal(signal.SIGINT)
        self._process.wait(PATIENCE)


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    return tmp_path_factory.mktemp("demo") / "line"


@pytest.fixture(scope="module")
def told_twice(folder):
    """What the command printed from nothing, and what it prints on the folder that it made; the latter still serves."""
    first = Serving(folder)
    try:
        told = first.printed()
    finally:
        first.end()
    again = Serving(folder)
    try:
        yield told, again.printed(), again
    finally:
        again.end()


def test_everybody_signs_in_by_what_was_printed(told_twice):
    _told, printed, serving = told_twice
    people = re.findall(r"^(.+), (\w+): (badge|password) \"?([^\",\n]+)", printed, re.MULTILINE)
    assert [role for _, role, _, _ in people] == list(HOMES)
    for name, role, way, secret in people:
        with serving.client() as client:
            entered = (client.post("/line/scan", data={"text": secret}) if way == "badge" else
                       client.post("/sign-in", data={"name": name, "password": secret}))
            assert (entered.status_code, entered.headers["location"]) == (303, HOMES[role]), printed
            assert name in client.get(HOMES[role]).text


def test_a_second_start_finds_the_same_people(told_twice):
    first, second, _serving = told_twice
    assert first.splitlines()[2:] == second.splitlines()[2:]     # all but the addresses


def test_a_motor_is_scanned_at_the_simulated_fixture_and_awaited_on_the_panel(told_twice):
    serving = told_twice[2]
    with serving.client() as client:
        client.post("/line/scan", data={"text": PEOPLE[0].badge})
        assert 'value="CP40-0003"' in client.get("/rig").text
        assert 'href="/rig"' in client.get("/line").text
        scanned = client.post("/line/scan", data={"text": "CP40-0003", "then": "/rig"})
        assert scanned.headers["location"] == "/rig"
        assert "CP40-0003" in client.get("/line").text
        assert client.post("/line/scan", data={"text": "CP40-0003", "then": "//elsewhere.invalid"}
                           ).headers["location"] == "/line"


def test_nobody_is_let_in_at_a_real_bench(made, command):
    file = made / "station.toml"
    file.write_text(file.read_text().partition("[simulated]")[0])
    code, _, told = command("serve", "--demo", made)
    assert (code, "a real one" in told) == (ExitCode.NOT_ALLOWED, True)
    assert nobody_in(made)


@pytest.fixture
def made(tmp_path, command):
    """A starter folder."""
    assert command("setup", tmp_path / "line")[0] == 0
    return tmp_path / "line"


def nobody_in(folder):
    file = folder / "people" / DATABASE
    return not file.exists() or PEOPLE[0].name.encode() not in file.read_bytes()


@pytest.mark.parametrize("name", ["A. Pirol", PEOPLE[1].name])
def test_people_who_work_there_keep_their_accounts_to_themselves(made, command, tmp_path, name):
    word = tmp_path / "word"
    word.write_text("a word that nobody knows")
    assert command("people", "add", name, "--role", Role.ENGINEER, "--password-file", word, "--station",
                   made / "station.toml")[0] == 0
    code, _, told = command("serve", "--demo", made)
    assert (code, name in told) == (ExitCode.NOT_ALLOWED, True)
    assert nobody_in(made)


def test_known_passwords_are_for_this_computer_alone(tmp_path, command):
    code, _, told = command("serve", "--demo", tmp_path / "line", "--plant", "0.0.0.0:8443")
    assert (code, "everybody knows" in told) == (ExitCode.WRONG_USE, True)
    assert not (tmp_path / "line").exists()


def test_a_folder_with_something_else_is_left_alone(tmp_path, command):
    (tmp_path / "line").mkdir()
    (tmp_path / "line" / "letter.txt").write_text("dear")
    assert command("serve", "--demo", tmp_path / "line")[0] == ExitCode.WRONG_USE
    assert [path.name for path in (tmp_path / "line").iterdir()] == ["letter.txt"]
