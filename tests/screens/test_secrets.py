"""A station served as people serve it: no password, badge or session stands in anything that it prints or keeps."""

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import httpx
import pytest

from station.cli import program
from station.cli.setup import write_folder
from station.simulated.free_port import free_ports

PASSWORD, WRONG, MISPLACED = "correct horse 8132", "wrong battery 5571", "staple in the name 9942"
BADGE, UNKNOWN_BADGE, ENGINEERS_BADGE = "BADGE-771-204", "BADGE-000-999", "BADGE-555-321"
PATIENCE = 60


def serve(folder, *words):
    with (folder / "printed.txt").open("wb") as printed:
        return subprocess.Popen([sys.executable, "-c", "from station.cli import main; main()", "serve", "--station",
                                 str(folder / "station.toml"), *words], stdout=printed, stderr=subprocess.STDOUT,
                                env={**os.environ, "PYTHONUNBUFFERED": "1"})


def await_page(client, process):
    end = time.monotonic() + PATIENCE
    while True:
        try:
            client.get("/sign-in")
        except httpx.TransportError:
            assert time.monotonic() < end
            assert process.poll() is None
            time.sleep(0.1)
        else:
            return


@pytest.fixture(scope="module")
def left(tmp_path_factory):
    """Everything that a station printed and kept while people signed in well and badly, and the tokens they got."""
    folder = tmp_path_factory.mktemp("secrets") / "line"
    write_folder(folder, pace=50.0, free_ports=True)
    word, file = folder.parent / "word", ("--station", str(folder / "station.toml"))
    word.write_text(PASSWORD)
    for name, role, more in (("R. Fink", "engineer", ("--badge", ENGINEERS_BADGE, "--password-file", str(word))),
                             ("K. Amsel", "operator", ("--badge", BADGE))):
        assert program.run(["people", "add", name, "--role", role, *more, *file]) == 0
    (port,) = free_ports(1)
    process = serve(folder, "--port", str(port))
    address, tokens = f"http://127.0.0.1:{port}", []
    try:
        with httpx.Client(base_url=address, headers={"origin": address}, timeout=20) as client:
            await_page(client, process)
            for name, password in (("R. Fink", PASSWORD), ("R. Fink", WRONG), (MISPLACED, "x"), ("nobody", WRONG)):
                client.post("/sign-in", data={"name": name, "password": password})
                tokens.append(client.cookies.get("station"))
            for code in (BADGE, UNKNOWN_BADGE):
                client.cookies.clear()
                client.post("/line/scan", data={"text": code})
            client.post("/line/scan", data={"text": BADGE})
            tokens.append(client.cookies["station"])
            client.post("/line/scan", data={"text": ENGINEERS_BADGE})
            client.post("/line/leave", data={"name": "R. Fink", "password": WRONG, "reason": "mended", "serial": "x"})
            client.post("/line/leave", data={"name": MISPLACED, "password": PASSWORD, "reason": "mended"})
            client.get(f"/tests?serial={PASSWORD}", headers={"authorization": f"Basic {PASSWORD}"})
            client.get("/nowhere", headers={"cookie": f"station={'x' * 20}"})
    finally:
        process.send_signal(signal.SIGINT)
        assert process.wait(PATIENCE) in (0, 130)
    kept = {path: path.read_bytes() for path in folder.rglob("*") if path.is_file()}
    return kept, [token for token in dict.fromkeys(tokens) if token]


def holding(kept, secret):
    return sorted(path.name for path, content in kept.items() if secret.encode() in content)


def test_something_was_kept_of_what_was_done(left):
    """Else the tests below would say nothing."""
    kept, tokens = left
    assert {"people.db", "records.sqlite", "printed.txt"} <= {path.name for path in kept}
    assert len(tokens) == 2
    for said in ("K. Amsel", "sign in", "a badge", "somebody unknown"):
        assert "people.db" in holding(kept, said)
        assert "records.sqlite" in holding(kept, said)     # entered into the log before the end


@pytest.mark.parametrize("secret", [PASSWORD, WRONG, MISPLACED, BADGE, UNKNOWN_BADGE, ENGINEERS_BADGE])
def test_no_password_or_badge_is_printed_or_kept(left, secret):
    assert holding(left[0], secret) == []


def test_no_session_is_printed_or_kept(left):
    kept, tokens = left
    for token in tokens:
        assert holding(kept, token) == []


def test_what_is_kept_of_accounts_is_for_the_station_alone(left):
    for path in left[0]:
        if path.name in ("people.db", "badge.key"):
            assert Path(path).parent.stat().st_mode & 0o077 == 0
