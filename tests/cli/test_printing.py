"""Printing beside the tests and by `station print`, at a real printer: none lost, none twice, no verdict touched."""

import os
import signal
import subprocess
import sys
import time

import pytest

from station.exit_code import ExitCode
from station.record.print_queue import DATABASE, PrintQueue


@pytest.fixture
def line(folder, printer):
    """A starter folder whose station file names the printer, still off."""
    station = folder / "station.toml"
    station.write_text(station.read_text() + f'\n[printer]\nuri = "{printer.uri}"\n')
    return folder


def states(folder):
    with PrintQueue(folder / "store") as queue:
        return [one.state for one in queue.all()]


def kept(folder, serial, run=1):
    return (folder / "store" / "certificates" / f"{serial}-run{run}.pdf").read_bytes()


def test_certificates_are_printed_while_motors_are_tested(line, printer, command):
    printer.start()
    station = ("--station", line / "station.toml")
    code, _, err = command("test", "CP40-0001", "CP40-0002", *station, "--operator", "K. Amsel")
    assert code == ExitCode.FAIL    # the second one's defect, as without a printer
    assert "Printer:" not in err or "not yet confirmed" in err
    code, out, _ = command("print", *station)
    assert (code, states(line)) == (0, ["printed", "printed"])
    assert printer.printed() == [kept(line, "CP40-0001"), kept(line, "CP40-0002")]
    code, out, _ = command("print", "--list", *station)
    assert code == 0
    assert "2 printout(s), 0 of them reprint(s); 0 left in the queue." in out
    assert "K. Amsel" in out
    code, out, _ = command("print", *station)
    assert (code, out.strip()) == (0, "No certificate waits.")


def test_an_absent_printer_touches_no_verdict_and_prints_later(line, printer, command):
    station = ("--station", line / "station.toml")
    code, out, err = command("test", "CP40-0001", *station)
    assert code == ExitCode.PASS
    assert "✓ PASS" in out
    assert "Printer: 1 certificate(s) wait in the print queue" in err
    assert states(line) == ["waiting"]
    code, out, err = command("print", *station, "--seconds", 2)
    assert code == ExitCode.NO_RESULT
    assert "waiting          CP40-0001 run 1" in out
    assert "cannot be reached" in err
    printer.start()
    assert command("print", *station)[0] == 0
    assert printer.printed() == [kept(line, "CP40-0001")]


def test_a_reprint_is_counted_and_has_the_same_bytes(line, printer, command):
    station = ("--station", line / "station.toml")
    command("test", "CP40-0001", *station)
    printer.start()
    assert command("print", *station)[0] == 0
    code, out, _ = command("print", "--again", "CP40-0001", *station, "--operator", "auditor")
    assert code == 0
    assert "printed          CP40-0001 run 1 reprint 1" in out
    assert printer.printed() == [kept(line, "CP40-0001")] * 2
    certificate = line / "store" / "certificates" / "CP40-0001-run1.pdf"
    certificate.write_bytes(certificate.read_bytes() + b" ")
    code, out, _ = command("print", "--again", "CP40-0001", *station)
    assert code == ExitCode.NO_RESULT
    assert "altered since it was queued" in out
    assert len(printer.printed()) == 2
    assert "2 of them reprint(s)" in command("print", "--list", *station)[1]


def test_a_motor_tested_before_there_was_a_printer_can_be_printed(folder, printer, command):
    station = folder / "station.toml"
    command("test", "CP40-0001", "--station", station)
    assert not (folder / "store" / DATABASE).exists()
    assert "ever" in command("print", "--list", "--station", station)[1]
    station.write_text(station.read_text() + f'\n[printer]\nuri = "{printer.start().uri}"\n')
    code, out, _ = command("print", "--again", "CP40-0001", "--station", station)
    assert (code, "printed          CP40-0001 run 1\n" in out) == (0, True)
    assert printer.printed() == [kept(folder, "CP40-0001")]


def test_a_reprint_is_left_to_the_process_that_prints(line, printer, command):
    station = ("--station", line / "station.toml")
    command("test", "CP40-0001", *station)
    with PrintQueue(line / "store") as other, other.work():
        code, _, err = command("print", *station)
        assert (code, "another station process" in err) == (ExitCode.WRONG_USE, True)
        code, out, _ = command("print", "--again", "CP40-0001", *station)
        assert (code, "It is in the queue" in out) == (0, True)
    printer.start()
    assert command("print", *station)[0] == 0
    assert printer.printed() == [kept(line, "CP40-0001")] * 2


def test_a_queue_that_cannot_be_written_touches_no_verdict(line, command):
    (line / "store" / DATABASE).mkdir(parents=True)
    code, out, err = command("test", "CP40-0001", "--station", line / "station.toml")
    assert (code, "✓ PASS" in out) == (ExitCode.PASS, True)
    assert "CP40-0001 is not in the print queue" in err
    assert "station print --again CP40-0001 --run 1" in err


@pytest.mark.parametrize(("old", "new", "said"), [
    ("", "", ": idle"), ("uri", 'media = "na_ledger_11x17in"\nuri', "! it does not know media = na_ledger_11x17in"),
    ("uri", 'sides = "two-sided-long-edge"\nuri', "! it does not know sides"),
])
def test_the_printer_is_looked_at(line, printer, command, old, new, said):
    printer.start()
    station = line / "station.toml"
    (line / "store").mkdir()
    head, mark, table = station.read_text().rpartition("[printer]")
    station.write_text(head + mark + (table.replace(old, new) if old else table))
    code, out, _ = command("print", "--check", "--station", station)
    assert "EOL printer (Example Printer): idle" in out
    assert said in out
    assert code == (ExitCode.NO_RESULT if old else 0)


@pytest.mark.parametrize(("table", "words", "said"), [
    ("", [], "no printer"), ("", ["--check"], "no printer"),
    ('[printer]\nuri = "ipps://localhost/"\ntrust = "absent.pem"', [], "absent.pem"),
    ('[printer]\nuri = "localhost"', [], "printer.uri"),
    ('[printer]\nuri = "ipp://localhost:9/"', ["--again", "CP40-4711"], "no store here"),
])
def test_wrong_use(folder, command, table, words, said):
    station = folder / "station.toml"
    station.write_text(f"{station.read_text()}\n{table}\n")
    (folder / "store").mkdir()
    code, _, err = command("print", *words, "--station", station)
    assert (code, said in err) == (ExitCode.WRONG_USE, True)


def _station(*words):
    return subprocess.Popen([sys.executable, "-c", "from station.cli import main; main()", *map(str, words)],
                            stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True)


def _kill_once(process, is_time):
    for _ in range(1200):
        if is_time():
            break
        time.sleep(0.05)
    else:
        process.kill()
        raise AssertionError("it never came to that")
    os.kill(process.pid, signal.SIGKILL)
    process.wait()
    process.stdout.close()


@pytest.mark.parametrize("where", ["while the printer is off", "while the printer prints"])
def test_a_station_that_is_killed_loses_no_certificate_and_prints_none_twice(line, printer, command, where):
    def has(state):
        return (line / "store" / DATABASE).exists() and states(line) and states(line)[0] == state

    station = ("--station", line / "station.toml")
    if where == "while the printer prints":
        printer.start()
        printer.hold()
    first = _station("test", "CP40-0001", "CP40-0002", *station)
    _kill_once(first, lambda: has("waiting" if where == "while the printer is off" else "sent"))
    assert states(line)[0] in ("waiting", "sent")
    if printer.process is None:
        printer.start()
    printer.release()
    code, out, _ = command("print", *station)
    assert (code, "printed          CP40-0001 run 1" in out) == (0, True)
    assert printer.printed()[0] == kept(line, "CP40-0001")
    assert len(printer.printed()) == len(states(line))
    assert set(states(line)) == {"printed"}
