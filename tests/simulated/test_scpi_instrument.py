"""What every instrument must do, over a real socket: mandatory commands, errors, status, terminators."""

import socket

import pytest

from station.simulated.bench import ROLES

NO_ERROR = '0,"No error"'


@pytest.mark.parametrize("role", ROLES)
def test_transcript_that_every_instrument_must_give(connect, role):
    client = connect(role)
    maker, _, serial, firmware = client.ask("*IDN?").split(",")
    assert (maker, serial[:3], firmware) == ("EMBEDDED BENCH", "EB-", "1")
    for message, answer in [
        ("*ESR?", "128"), ("*ESR?", "0"), ("*TST?", "0"), ("*OPC?", "1"), ("*STB?", "0"),
        ("*ESE 32;*ESE?", "32"), ("*SRE 255;*SRE?", "191"), ("*CLS;*RST;*WAI;*OPC;*ESR?", "1"),
        ("SYST:VERS?", "1999.0"), ("SYSTEM:ERROR:COUNT?", "0"), ("SYST:ERR:ALL?", NO_ERROR),
        ("STAT:OPER:ENAB 65535;ENAB?", "32767"), ("STAT:QUES:ENAB 1;:STAT:PRES;:STAT:QUES:ENAB?", "0"),
        ("STAT:OPER?;:STAT:OPER:COND?;:STAT:QUES:EVEN?;COND?", "0;0;0;0"), ("SYST:ERR?", NO_ERROR),
    ]:
        assert (message, client.ask(message)) == (message, answer)


@pytest.mark.parametrize(("message", "entry"), [
    ("NOSUCH", '-113,"Undefined header"'), ("*NOP?", '-113,"Undefined header"'),
    ("MEASU:SPE?", '-113,"Undefined header"'), ("MEAS:SPE", '-113,"Undefined header"'),
    ("*ESE", '-109,"Missing parameter"'), ("*ESE 1,2", '-108,"Parameter not allowed"'),
    ("*ESE 256", '-222,"Data out of range"'), ("*ESE 1E400", '-222,"Data out of range"'),
    ("SPE FAST", '-104,"Data type error"'), ("SPE 10 V", '-138,"Suffix not allowed"'),
    ("SPE 7000", '-222,"Data out of range"'), ("SPE? MID", '-224,"Illegal parameter value"'),
    ("ABCDEFGHIJKLMNOP?", '-112,"Program mnemonic too long"'), ("SPE '1", '-151,"Invalid string data"'),
])
def test_errors_go_into_the_queue_and_are_not_answered(connect, message, entry):
    client = connect("drive")
    client.send(message)
    assert client.ask("SYST:ERR?") == entry
    assert client.ask("SYST:ERR?") == NO_ERROR


def test_error_shows_in_event_status_and_status_byte(connect):
    client = connect("drive")
    client.send("*CLS;*ESE 32;*SRE 32;NOSUCH")
    assert client.ask("*STB?") == str(4 + 32 + 64)
    assert client.ask("*ESR?;*STB?") == f"32;{4 + 16}"
    assert client.ask("*CLS;*STB?;SYST:ERR?") == f"0;{NO_ERROR}"


def test_a_faulty_unit_does_not_hide_the_others(connect):
    client = connect("drive")
    assert client.ask("SPE:SLEW 500;NOSUCH;SLEW?;*OPC?;LIM?") == "5.000000000E+02;1;6.000000000E+03"
    assert client.ask("SYST:ERR:COUN?") == "1"


def test_settings_answer_their_bounds(connect):
    client = connect("digitizer")
    assert client.ask("SWE:POIN? MIN;POIN? MAX;POIN? DEF") == "2;4000000;10000"
    client.send("SWE:POIN MAX;TINT 4US")
    assert client.ask("SWE:POIN?;TINT?") == "4000000;4.000000000E-06"


@pytest.mark.parametrize("ending", [b"\n", b"\r\n", b" \t\r\n"])
def test_any_usual_ending_is_understood(served, ending):
    with socket.create_connection(("127.0.0.1", served.ports["guard"]), timeout=10.0) as client:
        client.sendall(b"*OPC?" + ending)
        assert client.recv(100) == b"1\n"
