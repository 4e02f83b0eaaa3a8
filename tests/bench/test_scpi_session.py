"""station.bench.scpi_session against real sockets with the faults of real benches."""

import contextlib
import math
import socket
import threading
import time

import numpy as np
import pytest

from station.bench.identity import Identity, parse_identity
from station.bench.scpi_session import QUEUE_CAP, ScpiSession
from station.bench.speech import parse_number
from station.clock import system_clock
from station.errors import BenchError, BenchNotFitError, InstrumentError, NoReplyError


def trickle(connection):
    while True:
        connection.sendall(b"1")
        time.sleep(0.01)


def block(codes, tail=b"\n"):
    body = np.asarray(codes, dtype="<i2").tobytes()
    length = str(len(body)).encode()
    return b"#" + str(len(length)).encode() + length + body + tail


def test_answers_come_back_and_carriage_returns_are_dropped(toy, session):
    toy.answers["MEAS:FRES?"] = b"1.5E-01\r\n"
    assert session.ask_number("MEAS:FRES?") == 0.15


def test_two_threads_never_get_each_others_answers(toy, session):
    toy.answers |= {f"Q{i}?": str(i) for i in range(4)}
    wrong = []

    def ask(i):
        wrong.extend(answer for _ in range(50) if (answer := session.ask(f"Q{i}?")) != str(i))
    threads = [threading.Thread(target=ask, args=(i,)) for i in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert wrong == []


def test_late_answer_is_never_taken_for_the_next_one(toy, session):
    def late(connection):
        time.sleep(0.6)
        connection.sendall(b"111\n")
    toy.reactions["SLOW?"] = late
    toy.answers["NEXT?"] = "222"
    with pytest.raises(NoReplyError):
        session.ask("SLOW?")
    time.sleep(0.5)
    assert session.ask("NEXT?") == "222"
    assert toy.connections == 2


def test_trickling_peer_misses_the_deadline(toy, session):
    toy.reactions["TRICKLE?"] = trickle
    with pytest.raises(NoReplyError):
        session.ask("TRICKLE?")
    assert session.identify().serial == "T-1"


def test_peer_that_does_not_read_misses_the_deadline(session, toy):
    toy.reactions["STOP"] = lambda connection: time.sleep(3)
    session.command()
    with pytest.raises(NoReplyError):
        session.command("STOP", *["X" * 60_000] * 200)


def test_closed_peer_is_told_and_the_next_question_reconnects(toy, session):
    toy.reactions["BYE?"] = lambda connection: connection.shutdown(socket.SHUT_RDWR)
    toy.answers["NEXT?"] = "2"
    with pytest.raises(NoReplyError, match="connection broke"):
        session.ask("BYE?")
    assert session.ask("NEXT?") == "2"


def test_connection_closed_in_a_pause_is_told_at_once_in_work_and_reopened_by_identifying(toy, session):
    """An instrument may have restarted, and lost its settings: only what begins with its identity goes on."""
    def close_all():
        for connection in toy._open:
            with contextlib.suppress(OSError):
                connection.shutdown(socket.SHUT_RDWR)
    session.identify()
    close_all()
    with pytest.raises(NoReplyError, match="closed"):
        session.command("OUTP ON")
    session.identify()
    close_all()
    assert session.identify().serial == "T-1"
    assert toy.commands == []
    assert toy.connections == 3


def test_giving_up_ends_what_is_pending_and_queued(toy):
    patient = ScpiSession("drive", toy.resource, parse_identity(toy.answers["*IDN?"], "toy"), system_clock(), 30.0)
    toy.reactions["HANG?"] = lambda connection: asked.set()
    asked, raised = threading.Event(), []

    def ask(line):
        try:
            patient.ask(line)
        except NoReplyError as error:
            raised.append(line + str(error))
    threads = [threading.Thread(target=ask, args=(line,)) for line in ("HANG?", "QUEUED?")]
    threads[0].start()
    assert asked.wait(10)
    threads[1].start()
    while patient._owner._thread._work_queue.empty():
        time.sleep(0.001)
    patient.give_up()
    patient.command("OUTP OFF")
    for thread in threads:
        thread.join()
    patient.close()
    assert sorted(line.partition("?")[0] for line in raised) == ["HANG", "QUEUED"]
    assert toy.commands == ["OUTP OFF"]
    assert toy.connections == 2


def test_nobody_listening_is_told(session):
    with socket.create_server(("127.0.0.1", 0)) as server:
        port = server.getsockname()[1]
    absent = ScpiSession("ohmmeter", f"TCPIP::127.0.0.1::{port}::SOCKET", session.expected, system_clock(), 0.3)
    with pytest.raises(NoReplyError, match="reachable"):
        absent.ask("MEAS?")
    absent.close()


def test_unknown_question_tells_the_error_queue(session):
    with pytest.raises(NoReplyError, match="Undefined header"):
        session.ask("NOSUCH?")


def test_errors_in_the_queue_are_all_named(toy, session):
    session.identify()
    toy.errors = ['-221,"Settings conflict"', '-222,"Data out of range"']
    with pytest.raises(InstrumentError, match=r"-221.*-222"):
        session.command("OUTP ON")
    session.command("OUTP OFF")
    assert toy.commands == ["OUTP ON", "OUTP OFF"]


def test_value_with_an_error_beside_it_is_no_value(toy, session):
    toy.answers["MEAS?"] = "1.0"
    session.identify()
    toy.errors = ['-240,"Hardware error"']
    with pytest.raises(InstrumentError, match="-240"):
        session.ask_number("MEAS?")


def test_queue_without_end_is_a_fault(toy, session):
    session.identify()
    toy.errors = ['-350,"Queue overflow"'] * (QUEUE_CAP + 5)
    with pytest.raises(InstrumentError, match="never ends"):
        session.drain_errors()


def test_inherited_errors_are_not_ours(toy, session):
    toy.errors = ['-100,"Command error"']
    session.command("OUTP OFF")
    assert toy.commands == ["OUTP OFF"]


@pytest.mark.parametrize("field", ["maker", "model", "serial", "firmware"])
def test_another_instrument_gets_no_command(toy, field):
    parts = dict(zip(("maker", "model", "serial", "firmware"), ("PLANT", "TOY", "T-1", "1"), strict=True))
    expected = Identity(**(parts | {field: "other"}))
    session = ScpiSession("drive", toy.resource, expected, system_clock(), 0.3)
    with pytest.raises(BenchNotFitError):
        session.command("OUTP ON")
    session.close()
    assert toy.commands == []
    assert not session.was_identified


def test_exchanged_instrument_is_found_when_reopening(toy, session):
    session.identify()
    toy.answers["*IDN?"] = "PLANT,TOY,T-2,1"
    toy.reactions["BYE?"] = lambda connection: connection.shutdown(socket.SHUT_RDWR)
    with pytest.raises(NoReplyError):
        session.ask("BYE?")
    with pytest.raises(BenchNotFitError):
        session.command("OUTP ON")
    assert toy.commands == []


def test_garbage_is_no_number(toy, session):
    toy.answers["MEAS?"] = "****"
    with pytest.raises(BenchError, match="no number"):
        session.ask_number("MEAS?")
    toy.answers["MEAS?"] = "3"
    assert session.ask_number("MEAS?") == 3


def test_unasked_bytes_make_the_connection_doubtful(toy, session):
    toy.answers["MEAS?"] = "1"
    toy.reactions["ONE?"] = lambda connection: connection.sendall(b'1\n0,"No error"\n7\n')
    assert session.ask("ONE?") == "1"
    with pytest.raises(BenchError, match="more than was asked"):
        session.ask("MEAS?")
    assert session.ask("MEAS?") == "1"


def test_block_arrives_whole_with_line_feeds_inside(toy, session):
    codes = np.arange(-32768, 32768, dtype=np.int16)
    toy.answers["TRAC?"] = block(codes)
    received = session.ask_codes("TRAC?", codes.size)
    assert np.array_equal(received, codes)
    assert received.dtype == np.int16


@pytest.mark.parametrize("answer", [
    pytest.param(block([1, 2, 3]), id="too short by its own word"),
    pytest.param(block([1, 2, 3, 4, 5]), id="too long"),
    pytest.param(block([1, 2, 3, 4], tail=b"x"), id="wrong tail"),
    pytest.param(b"#0\x01\x02\n", id="indefinite"),
    pytest.param(b"1,2,3,4\n", id="text"),
    pytest.param(b"#2 8abcdefgh\n", id="blank in the length"),
])
def test_block_that_is_not_as_expected_gives_no_codes(toy, session, answer):
    toy.answers["TRAC?"] = answer
    with pytest.raises(BenchError):
        session.ask_codes("TRAC?", 4)
    assert session.identify().serial == "T-1"


def test_half_block_gives_no_codes(toy, session):
    toy.reactions["TRAC?"] = lambda connection: connection.sendall(block([1, 2, 3, 4])[:7])
    with pytest.raises(NoReplyError):
        session.ask_codes("TRAC?", 4)
    toy.answers["MEAS?"] = "1"
    assert session.ask("MEAS?") == "1"


def test_half_block_then_close_gives_no_codes(toy, session):
    def half(connection):
        connection.sendall(block([1, 2, 3, 4])[:7])
        connection.shutdown(socket.SHUT_RDWR)
    toy.reactions["TRAC?"] = half
    with pytest.raises(NoReplyError, match="connection broke"):
        session.ask_codes("TRAC?", 4)


def test_self_test(toy, session):
    assert session.self_test(1.0) is None
    toy.answers["*TST?"] = "4"
    assert session.self_test(1.0) == "4"


@pytest.mark.parametrize(("text", "number"), [
    ("9.9E37", math.inf), ("9.90000000E+37", math.inf), ("9.99999999E+37", math.inf), ("-9.9E37", -math.inf),
    ("199.999E+99", math.inf), ("+1.25", 1.25), ("1E3", 1000.0), ("", None), ("1.0,2.0", None),
])
def test_numbers_and_their_sentinels(text, number):
    assert parse_number(text) == number


def test_not_a_number_is_refused(toy, session):
    assert math.isnan(parse_number("9.91E37"))
    toy.answers["MEAS?"] = "9.91E37"
    with pytest.raises(BenchError, match="could not measure"):
        session.ask_number("MEAS?")


def test_over_range_is_infinite_only_where_that_is_wanted(toy, session):
    toy.answers["MEAS?"] = "9.9E37"
    assert session.ask_number("MEAS?") == math.inf
    with pytest.raises(BenchError, match="over range"):
        session.ask_finite("MEAS?")


def test_silent_instrument_does_not_delay_another(toy, session):
    toy.reactions["SILENT?"] = lambda connection: None
    other = ScpiSession("drive", toy.resource, session.expected, system_clock(), 5.0)
    failures = []

    def ask_silent():
        try:
            session.ask("SILENT?")
        except NoReplyError as error:
            failures.append(error)
    thread = threading.Thread(target=ask_silent)
    thread.start()
    other.command("OUTP OFF")
    stopped_first = not failures
    thread.join()
    other.close()
    assert stopped_first
    assert toy.commands == ["OUTP OFF"]
    assert len(failures) == 1
