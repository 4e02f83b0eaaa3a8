"""The guard inputs over their socket: a command arms, only a hand starts."""


def test_bits_follow_the_circuit(served, connect, until):
    served.rig.attended = False
    guard = connect("guard")
    assert guard.ask("DIG:DATA?") == "5"
    assert guard.ask("OUTP ON;:SENS:DIG:DATA?;:OUTP?") == "13;1"
    served.rig.press_start()
    assert guard.ask("DIG:DATA?") == "15"
    served.rig.open_guard()
    assert not int(guard.ask("DIG:DATA?")) & 3
    served.rig.close_guard()
    assert not int(guard.ask("DIG:DATA?")) & 2
    served.rig.emergency_stop_healthy = False
    assert not int(guard.ask("DIG:DATA?")) & 4


def test_reset_puts_the_lamp_out_and_forgets_start(served, connect, start):
    guard = start()
    assert int(guard.ask("*RST;:DIG:DATA?")) == 5


def test_the_stack_light_shows_what_it_is_told_but_a_dead_lamp(served, connect):
    guard = connect("guard")
    assert guard.ask("SOUR:DIG:DATA 10;:SOUR:DIG:DATA?") == "10"
    assert guard.ask("SOUR:DIG:DATA 32;:SYST:ERR?").startswith("-222")
    served.rig.stack_lamps.dead = 2
    assert guard.ask("SOUR:DIG:DATA?") == "8"
    assert guard.ask("*RST;:SOUR:DIG:DATA?") == "0"
    assert int(guard.ask("DIG:DATA?")) == 5      # lamps are no inputs
