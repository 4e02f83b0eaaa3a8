"""The USB route whole: pyvisa-py's USBTMC session and pyusb, down to an instrument in software on a bus of its own."""

import importlib

import numpy as np
import pytest
import usb.backend.libusb1
from usb_instrument import UsbInstrument

from station.bench.identity import Identity
from station.bench.scpi_session import ScpiSession
from station.clock import system_clock
from station.errors import BenchError, BenchNotFitError, NoReplyError

IDENTITY = Identity("PLANT", "USB", "U-1", "1")
CODES = (np.arange(1 << 19) % 65521 - 32760).astype(np.int16)       # 1 MiB, every byte among its bytes
ANSWERS = {b"*IDN?": f"{IDENTITY}\n".encode(), b"SYST:ERR?": b'0,"No error"\n', b"*ESR?": b"0\n", b"MEAS?": b"1.25\n",
           b"TRAC?": b"#7" + str(CODES.nbytes).encode() + CODES.tobytes() + b"\n"}


@pytest.fixture
def instrument(monkeypatch):
    made = UsbInstrument("U-1", dict(ANSWERS))
    monkeypatch.setattr(usb.backend.libusb1, "get_backend", lambda find_library=None: made)
    # Where there is no libusb, pyvisa-py has given its session up when it was first imported.
    importlib.import_module("pyvisa_py.usb")
    return made


@pytest.fixture
def session(instrument):
    opened = ScpiSession("ohmmeter", instrument.resource, IDENTITY, system_clock(), 2.0)
    yield opened
    instrument.deaf = False
    opened.close()


def test_identity_query_command_and_a_block_of_a_megabyte(instrument, session):
    assert session.identify() == IDENTITY
    assert session.ask_number("MEAS?") == 1.25
    session.command("RANG 10", "FILT ON")
    assert instrument.commands == [b"RANG 10", b"FILT ON"]
    assert np.array_equal(session.ask_codes("TRAC?", CODES.size), CODES)
    assert session.ask_number("MEAS?") == 1.25
    assert instrument.opened == 1


@pytest.mark.parametrize("most", [1, 100, 511, 512, 513, 4096, 1 << 22])
def test_transfers_of_any_size_are_put_together(most, instrument, session):
    instrument.most, short = most, CODES[:2500]
    instrument.answers[b"TRAC?"] = b"#4" + str(short.nbytes).encode() + short.tobytes() + b"\n"
    assert np.array_equal(session.ask_codes("TRAC?", short.size), short)
    assert session.ask_number("MEAS?") == 1.25


def test_a_line_longer_than_a_packet_arrives_whole(instrument, session):
    line = "DATA " + "7" * 3000
    session.command(line)
    assert instrument.commands == [line.encode()]


@pytest.mark.parametrize("keeps", [False, True])
def test_silence_is_told_in_time_and_the_next_exchange_is_with_a_fresh_connection(keeps, instrument, session):
    assert session.identify() == IDENTITY
    instrument.deaf, instrument.keeps_answers = True, keeps
    session.deadline = 0.4
    with pytest.raises(NoReplyError, match="no reply"):
        session.ask("MEAS?")
    assert instrument.aborted >= 1      # the transfer was aborted as the standard asks
    instrument.deaf = False
    session.deadline = 2.0
    if keeps:       # a stale answer to another question must never pass for the next one's
        with pytest.raises(BenchError):
            session.ask_number("RANG?")
        return
    assert session.ask_number("MEAS?") == 1.25
    assert instrument.opened >= 2
    assert instrument.requests.count(7) >= 2    # its capabilities were asked for again


def test_half_a_block_is_never_codes(instrument, session):
    instrument.answers[b"TRAC?"] = ANSWERS[b"TRAC?"][:1000]
    with pytest.raises(NoReplyError):
        session.ask_codes("TRAC?", CODES.size)
    assert session.ask_number("MEAS?") == 1.25


def test_another_instrument_is_refused(instrument, session):
    instrument.answers[b"*IDN?"] = b"PLANT,USB,U-2,1\n"
    with pytest.raises(BenchNotFitError, match="another instrument"):
        session.identify()


def test_a_cable_pulled_out_is_told_and_put_back_is_found(instrument, session):
    assert session.identify() == IDENTITY
    instrument.is_gone = True
    with pytest.raises(NoReplyError):
        session.ask("MEAS?")
    with pytest.raises(NoReplyError):
        session.ask("MEAS?")
    instrument.is_gone = False
    assert session.ask_number("MEAS?") == 1.25


def test_an_instrument_that_is_not_on_the_bus_is_told(instrument):
    absent = ScpiSession("ohmmeter", instrument.resource.replace("U-1", "U-9"), IDENTITY, system_clock(), 1.0)
    with pytest.raises(NoReplyError):
        absent.identify()
    absent.close()
