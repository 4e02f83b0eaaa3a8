"""From one motor to the next with nobody but a person's hands: driven through the side channel of a served bench."""

from contextlib import ExitStack
from threading import Timer

import pytest

from station.bench.bench_file import load_bench
from station.cli.setup import write_folder
from station.cli.workplace import Person, embedded_bench, open_workplace
from station.sequence.motor_change import MotorChange
from station.sequence.station_file import load_station
from station.simulated.side_channel import SideChannel

GOOD, BAD = "CP40-0001", "CP40-0002"


@pytest.fixture
def line(tmp_path):
    """A station whose file knows nothing of the simulated bench behind its instruments, and hands at that bench."""
    folder = tmp_path / "line"
    write_folder(folder, pace=50.0, free_ports=True)
    simulated = load_station(folder / "station.toml")
    file = folder / "station.toml"
    file.write_text(file.read_text().split("[simulated]")[0])
    with ExitStack() as stack:
        served = stack.enter_context(embedded_bench(simulated, simulated.simulated, load_bench(simulated.bench)))
        hands = stack.enter_context(SideChannel(served.side_port))
        place = stack.enter_context(open_workplace(load_station(file), "tester"))
        assert isinstance(place.attendant, Person)
        yield place, hands, served


class Operator:
    """Watches what the station says and does what a person would; `exchange` is what it does when asked for a motor."""

    def __init__(self, hands, clock):
        self.hands, self.clock, self.said, self.looks = hands, clock, [], 0
        self.exchange = self.exchange_properly

    def watch(self, notice):
        self.said.append(notice.text)
        if "press START" in notice.text:
            self.hands.press_start()
        elif notice.text.startswith("next is "):
            self.exchange(notice.text.split()[2].rstrip(":"))

    def exchange_properly(self, serial):
        self.hands.open_guard()
        Timer(0.3, lambda: self.finish(serial)).start()

    def finish(self, serial):
        self.hands.place(serial)
        self.hands.close_guard()


@pytest.fixture
def operator(line):
    place, hands, _ = line
    hands.place(GOOD)
    return Operator(hands, place.clock)


def test_each_further_motor_is_asked_for_in_words_and_tested(line, operator):
    place, *_ = line
    verdicts = [place.test(serial, operator.watch).record["verdict"] for serial in (GOOD, BAD, GOOD)]
    assert verdicts == ["PASS", "FAIL", "PASS"]
    asked = [text for text in operator.said if text.startswith("next is ")]
    assert asked == [f"next is {BAD}: open the guard, take {GOOD} out, put {BAD} in, close the guard",
                     f"next is {GOOD}: open the guard, take {BAD} out, put {GOOD} in, close the guard"]


def test_start_turns_nothing_while_the_last_motor_lies_there(line, operator):
    place, hands, _ = line
    assert place.test(GOOD, operator.watch).record["verdict"] == "PASS"
    seen = []

    def press_start_instead(serial):
        hands.press_start()
        seen.append(hands.state())
        Timer(0.5, lambda: (seen.append(hands.state()), operator.exchange_properly(serial))).start()
    operator.exchange = press_start_instead
    assert place.test(BAD, operator.watch).record["verdict"] == "FAIL"      # the right motor's
    for state in seen:
        assert not state["armed"]
        assert not state["start_latched"]
        assert not state["drive_on"]


def test_the_same_motor_again_needs_no_opening(line, operator):
    place, *_ = line
    for _ in range(2):
        assert place.test(GOOD, operator.watch).record["verdict"] == "PASS"
    assert not any(text.startswith("next is ") for text in operator.said)


def test_the_first_motor_is_waited_for_until_the_guard_is_closed(line, operator):
    place, hands, _ = line
    hands.open_guard()

    def watch(notice):
        operator.watch(notice)
        if notice.text == f"{GOOD}: close the guard":
            Timer(0.3, hands.close_guard).start()
    assert place.test(GOOD, watch).record["verdict"] == "PASS"
    assert operator.said[0] == f"{GOOD}: close the guard"


def test_a_guard_that_cannot_be_asked_is_the_runs_own_trouble(line, operator):
    place, hands, _ = line
    place.bench.guard.session.deadline = 0.2
    hands.silence("guard", 3600.0)
    record = place.test(GOOD, operator.watch).record
    assert record["verdict"] == "NO RESULT"
    assert "guard" in record["reason"]
    assert not any("press START" in text for text in operator.said)
    hands.silence("guard", 0.0)


def test_a_reference_motor_is_always_asked_for(line, operator):
    place, *_ = line
    assert place.run(GOOD, operator.watch, purpose="reference").record["verdict"] == "PASS"
    assert operator.said[0] == f"next is {GOOD}: open the guard, put {GOOD} in, close the guard"


def test_a_guard_that_says_nothing_is_told_once_and_waited_for(line, operator):
    place, hands, _ = line
    said, moves = [], []

    class Hands:
        def open_guard(self):
            moves.append("open")
            if len(moves) == 3:
                hands.open_guard()

        def place(self, serial):
            moves.append(serial)

        def close_guard(self):
            hands.close_guard()

    place.bench.guard.session.deadline = 0.2
    hands.fault("guard", "hang", seconds=0.5)
    change = MotorChange(place.bench.guard, place.clock)
    change.await_motor(BAD, Hands(), said.append, anew=True)
    assert moves[-1] == BAD
    texts = [notice.text for notice in said if notice.kind == "note"]
    assert any("no reply" in text for text in texts)
    assert len(set(texts)) == len(texts)
