"""station.bench.digitizer against a toy that answers what a dialect does not expect: an error, never a capture."""

import numpy as np
import pytest

from station.bench.bench_file import NEEDS
from station.bench.dialect import SHIPPED, parse_dialect
from station.bench.digitizer import MARGIN, ScpiDigitizer, Wiring
from station.bench.scpi_session import ScpiSession
from station.clock import Clock, system_clock
from station.errors import BenchError, InstrumentError
from station.toml_file import parse_toml

OFFSET, SCALE = -1.0, 0.5
PREAMBLE = "A,100,1E-5,0,V,0.5,-1.0,128,0,255"


def plain(name):
    """A shipped dialect for a toy: any identity, the usual question for errors."""
    lines = (SHIPPED / f"{name}.toml").read_text(encoding="utf-8").splitlines()
    text = "\n".join(line for line in lines if not line.startswith(("identity", "errors")))
    return parse_toml(text.encode(), f"{name}.toml")


@pytest.fixture
def opened(toy):
    """Open a driver of `dialect` to the toy."""
    sessions = []

    def open_with(source, clock=None, role="digitizer"):
        dialect = parse_dialect(source, "digitizer", NEEDS["digitizer"])
        sessions.append(ScpiSession(role, toy.resource, None, system_clock(), 0.3, dialect.speech))
        return ScpiDigitizer(sessions[-1], dialect, {"v_ab": Wiring(1, 10.0, 0.0, 0.0)}, clock or system_clock())

    yield open_with
    for session in sessions:
        session.close()


@pytest.fixture
def terse(toy, opened):
    """An 8 bit digitizer with a preamble, configured for 100 samples."""
    toy.answers |= {"RATE?": "100000", "RECORD?": "100", "A:SPAN?": "4.0", "DESCRIBE? A": PREAMBLE,
                    "DUMP? A": b"#3100" + bytes(range(28, 128)) + b"\r\n"}
    digitizer = opened(plain("terse_digitizer"))
    digitizer.configure({"v_ab": 20.0}, 1e-5, 100)
    return digitizer


@pytest.fixture
def headed(toy, opened):
    """A digitizer whose memory is read in windows, configured for 2200 samples."""
    toy.answers |= {"MEMORY:TICK?": ":MEMORY:TICK 1E-5",
                    "MEMORY:LENGTH?": ":MEMORY:LENGTH 2200", "INPUT1:PEAK?": ":INPUT1:PEAK 2.0",
                    "INPUT1:STEP?": ":INPUT1:STEP 0.5", "INPUT1:ZERO?": ":INPUT1:ZERO 0"}
    toy.reactions["SYST:ERR?"] = lambda connection: connection.sendall(b':SYSTEM:ERROR 0,"No error"\n')
    digitizer = opened(plain("headed_digitizer"))
    digitizer.configure({"v_ab": 20.0}, 1e-5, 2200)
    return digitizer


def window(codes):
    """A block with header and padded length."""
    return b":MEMORY:INPUT1 #9" + f"{2 * len(codes):09d}".encode() + np.asarray(codes, ">i2").tobytes() + b"\n"


def test_settings_go_out_as_the_dialect_writes_them(toy, terse):
    assert toy.commands[-4:] == ["A:ON", "A:SPAN 4", "RATE 100000", "RECORD 100"]


def test_unsigned_codes_and_preamble_become_volts(terse):
    codes, channels = terse.fetch()
    assert codes["v_ab"].tolist() == list(range(28, 128))
    channel = channels["v_ab"]
    volts = channel.scale * codes["v_ab"] + channel.offset
    np.testing.assert_allclose(volts, 10 * ((np.arange(28, 128) - 128) * SCALE + OFFSET))
    assert (channel.code_min, channel.code_max) == (0, 255)


@pytest.mark.parametrize("preamble", [
    PREAMBLE + ",1", PREAMBLE[:-4], PREAMBLE.replace("0.5", "half"), PREAMBLE.replace("0.5", "9.91E37"),
    PREAMBLE.replace("0.5", "0"), PREAMBLE.replace("0.5", "-0.5"), PREAMBLE.replace("100,", "99,"),
    PREAMBLE.replace("1E-5", "1.1E-5"), "",
])
def test_doubtful_preamble_gives_no_capture(toy, terse, preamble):
    toy.answers["DESCRIBE? A"] = preamble
    with pytest.raises(BenchError):
        terse.fetch()


def test_an_error_names_the_digitizer_that_has_it(toy, opened):
    toy.answers |= {"RATE?": "50000"}
    digitizer = opened(plain("terse_digitizer"), role="sensor_digitizer")
    with pytest.raises(BenchError, match="changed the interval") as caught:
        digitizer.configure({"v_ab": 20.0}, 1e-5, 100)
    assert caught.value.where == "sensor_digitizer"


@pytest.mark.parametrize("block", [
    b"#3100" + bytes(100) + b"\n\n", b"#299" + bytes(99) + b"\r\n", b"#3200" + bytes(200) + b"\r\n",
    b"#0" + bytes(100) + b"\r\n", b"#3100" + bytes(98),
])
def test_block_that_is_not_as_the_dialect_says_gives_no_codes(toy, terse, block):
    toy.answers["DUMP? A"] = block
    with pytest.raises(BenchError):
        terse.fetch()


def test_windows_are_joined_in_order(toy, headed):
    codes = np.arange(2200) - 1100
    toy.reactions["MEMORY:INPUT1?"] = lambda connection: connection.sendall(window(asked(toy, codes)))
    taken, _ = headed.fetch()
    assert taken["v_ab"].tolist() == codes.tolist()
    assert taken["v_ab"].dtype == np.int16
    assert [line for line in toy.commands if "WINDOW" in line] == [
        "MEMORY:WINDOW 1,1000", "MEMORY:WINDOW 1001,2000", "MEMORY:WINDOW 2001,2200"]


def test_a_window_of_another_size_gives_no_codes(toy, headed):
    toy.reactions["MEMORY:INPUT1?"] = lambda connection: connection.sendall(window([0] * 999))
    with pytest.raises(BenchError, match="wrong length"):
        headed.fetch()


@pytest.mark.parametrize("head", [b"", b":MEMORY:INPUT1", b":MEMORY:INPUT1 " + b"X" * 200])
def test_a_block_without_header_gives_no_codes(toy, headed, head):
    block = window([0] * 1000).removeprefix(b":MEMORY:INPUT1 ")
    toy.reactions["MEMORY:INPUT1?"] = lambda connection: connection.sendall(head + block)
    with pytest.raises(BenchError, match="no header"):
        headed.fetch()


def test_an_answer_with_the_header_of_another_question_is_refused(toy, headed):
    toy.answers["INPUT1:ZERO?"] = ":INPUT1:STEP 0.5"
    with pytest.raises(BenchError, match="not its header"):
        headed.fetch()


def test_a_state_without_a_meaning_is_refused(toy, headed):
    toy.answers["STATE?"] = ":STATE PAUSED"
    with pytest.raises(BenchError):
        headed.is_done()


@pytest.mark.parametrize(("completion", "asked"), [("time", 0), ("*OPC?", 1)])
def test_completion_is_not_told_before_it_can_be(toy, opened, completion, asked):
    now, questions = [100.0], []
    toy.answers |= {"RATE?": "100000", "RECORD?": "100000", "A:SPAN?": "4.0"}
    toy.reactions["*OPC?"] = lambda connection: (questions.append(1), connection.sendall(b"1\r\n"))
    text = plain("terse_digitizer").text.replace('"*OPC?"', f'"{completion}"')
    digitizer = opened(parse_toml(text.encode(), "my.toml"), Clock(system_clock().utc, lambda: now[0], lambda s: None))
    digitizer.configure({"v_ab": 20.0}, 1e-5, 100_000)
    digitizer.initiate()
    now[0] += 0.99
    assert not digitizer.is_done()
    assert questions == []
    now[0] += 0.02 + MARGIN
    assert digitizer.is_done()
    assert len(questions) == asked


@pytest.mark.parametrize("answer", [b"1\n", b"OK\n"])
def test_commands_are_acknowledged(toy, opened, answer):
    text = plain("terse_digitizer").text.replace("[session]", '[session]\nacknowledge = "OK"')
    for line in ("HALT", "VERBOSE OFF"):
        toy.reactions[line] = lambda connection: connection.sendall(answer)
    digitizer = opened(parse_toml(text.encode(), "my.toml"))
    if answer == b"OK\n":
        digitizer.abort()
    else:
        with pytest.raises(BenchError, match="not acknowledged"):
            digitizer.abort()


def test_refused_lines_after_connecting_leave_no_connection(toy, opened):
    toy.reactions["VERBOSE OFF"] = lambda connection: toy.errors.append('-100,"Command error"')
    digitizer = opened(plain("terse_digitizer"))
    for _ in range(2):
        with pytest.raises(InstrumentError, match="VERBOSE OFF"):
            digitizer.abort()
    assert toy.connections == 2
    assert toy.commands == []


def asked(toy, codes):
    first, last = (int(number) for number in toy.commands[-1].removeprefix("MEMORY:WINDOW ").split(","))
    return codes[first - 1:last]


def test_rest_after_every_command(toy):
    rests = []
    text = plain("terse_digitizer").text.replace("[session]", "[session]\npause_s = 0.25")
    dialect = parse_dialect(parse_toml(text.encode(), "my.toml"), "digitizer", NEEDS["digitizer"])
    clock = Clock(system_clock().utc, system_clock().monotonic, rests.append)
    session = ScpiSession("digitizer", toy.resource, None, clock, 0.3, dialect.speech)
    session.command("A:ON", "GO")
    session.close()
    assert toy.commands == ["VERBOSE OFF", "A:ON", "GO"]
    assert rests == [0.25] * 3
