"""A complete, commented bench file for the embedded instruments: the start for everyone's own."""

from collections.abc import Mapping

from station.bench.roles import ROLES, SENSOR_DIGITIZER
from station.clock import Date

MODELS = {"drive": ("DRIVE", "DRV"), "digitizer": ("DIGITIZER", "DIG"), "ohmmeter": ("OHMMETER", "OHM"),
          "supply": ("SUPPLY", "SUP"), "insulation": ("INSULATION", "INS"), "thermometer": ("THERMOMETER", "THM"),
          "guard": ("GUARD", "GRD"), SENSOR_DIGITIZER: ("DIGITIZER-4S", "SEN")}

_HEAD = """\
# Bench file: which instrument fills each role, where it is, how good it is and how it is wired.
#
# BEFORE YOU WORK WITH REAL INSTRUMENTS
# * Rotating shaft: it catches hair, sleeves and fingers. Never work with the guard open or bridged.
# * Live terminals: a motor that is turned by another drive is a generator. Its leads carry voltage whenever
#   the shaft turns, with nothing switched on.
# * Insulation voltage: hundreds of volts between winding and frame, which stay there until discharged.
# * This software is no safety function. The guard, its lock and the emergency stop must be hard-wired so
#   that they take away torque and voltage without any computer.
# * Local codes come first, and work on live parts needs licensed practice.
format = 1

# What the drive may do on this bench. The station refuses any faster sequence. The watchdog has the drive
# stop by itself when it hears nothing for so long.
[drive_limits]
max_speed_rpm = 6000.0
watchdog_s = 5.0
stop_deadline_s = 30.0     # from full speed to rest
# watchdog_proof_days = 180.0   # no test unless `station bench check --prove-watchdog` was good within so many days

# When a winding counts as discharged after the insulation test.
[discharge]
below_V = 25.0
deadline_s = 10.0

# Limits of error, from the calibration certificates (half widths).
[accuracy]
gain_common = 1.0e-3       # relative, shared by all channels: the reference voltage
gain = 5.0e-4              # relative, each channel by itself
offset_V = 5.0e-3
timebase = 5.0e-5          # relative
skew_s = 1.0e-7
lag_s = 2.0e-7
temperature_K = 1.0
threshold = 0.1            # share of the Hall swing by which the switching level is unsure
slot_ripple = 1.0e-4       # relative ripple of the drive's speed, six per electrical revolution and multiples

# Which digitizer channel carries which signal.
#   probe_ratio  volts at the motor per volt at the input
#   skew_s       sample k of this channel is taken at start + k x interval + skew
#   lag_s        delay of probe and front end
[wiring]
"""

_WIRING = "{signal} = {{ channel = {channel}, probe_ratio = 1.0, skew_s = 0.0, lag_s = 0.0{more} }}\n"
_SIGNALS = ("v_ab", "v_bc", "v_ca", "h_a", "h_b", "h_c")

_SWITCH = """\
# Four channels for six signals: a switch before the inputs lets v_bc and v_ca through in position 1, h_b and
# h_c in position 2; v_ab and h_a come through in both. The captures are stitched in electrical angle on v_ab.
#   position     of the switch, by the dialect's template select; without it the signal always comes through
"""
_SETTLE = """
# From a change of the switch to signals that can be taken.
[input_switch]
settle_s = 0.05
"""
_SENSOR_WIRING = """
# The second digitizer: v_ab, on which its captures are stitched to those of the first, and the sensors. Limits of
# error of its own would stand in a table [sensor_accuracy] with the same keys as [accuracy].
[sensor_wiring]
"""

_INSTRUMENTS = """
# The seven roles. In each:
#   resource     TCPIP::host::port::SOCKET, with a fixed or reserved address; a drive over Modbus TCP has
#                MODBUS::host::port::unit (unit 1 may be left out). Other kinds of the same instruments:
#                TCPIP::host::hislip0::INSTR, TCPIP::host::hislip0,port::INSTR    HiSLIP
#                TCPIP::host::inst0::INSTR    VXI-11
#                ASRL/dev/ttyUSB0::INSTR      serial line; its speed is `baud` (optional, 9600)
#                USB0::0x1234::0x5678::serial::INSTR    USB, with the extra `usb` and rights to the device
#   dialect      name of a shipped dialect, or a .toml file beside this one; a register map for a Modbus drive
#   deadline_s   longest wait for one answer (optional, 2 s). For the guard (0.5 s) also how long a guard that falls
#                silent goes unnoticed: leave its line out at a real bench. Here all share one computer
#   identity     exactly what the instrument answers to *IDN?; another instrument is refused
#   calibration  certificate number, its date, and the last day on which it holds (for the guard: inspection).
#                After the last day the station gives no verdicts, unless the calibration was extended in writing; then
#                the extension stands in every record and on every certificate. All three are required:
#                extension = { person = "name", reason = "why", until = last day }   (within the braces, after `due`)
"""

_ROLE = """
[instruments.{role}]
resource = "TCPIP::127.0.0.1::{port}::SOCKET"
dialect = "embedded_{dialect}"
deadline_s = 4.0
identity = {{ maker = "EMBEDDED BENCH", model = "{model}", serial = "EB-{short}-001", firmware = "1" }}
calibration = {{ certificate = "{short}-{year}-001", date = {date}, due = {due} }}
"""


def embedded_bench_toml(ports: Mapping[str, int], calibrated: Date, due: Date, drive: str = "scpi",
                        digitizers: str = "six channels") -> str:
    """Return the bench file of the embedded instruments serving on `ports` (role -> TCP port), as TOML.

    `drive` is "scpi" or "modbus"; `digitizers` is "six channels", "four channels" or "two instruments".
    """
    names = (*ROLES, SENSOR_DIGITIZER) if digitizers == "two instruments" else ROLES
    roles = "".join(_role(role, ports[role], calibrated, due) for role in names)
    text = _HEAD + _wiring(digitizers) + _INSTRUMENTS + roles
    if digitizers == "four channels":
        for six, four in (("embedded_digitizer", "embedded_switched_digitizer"),
                          ('"DIGITIZER", serial = "EB-DIG-001"', '"DIGITIZER-4", serial = "EB-DIG-004"')):
            text = text.replace(six, four)
    return _with_modbus_drive(text, ports["drive"]) if drive == "modbus" else text


def _wiring(digitizers: str) -> str:
    if digitizers == "four channels":
        inputs = ((("v_ab", 1), ("h_a", 2)), (("v_bc", 3), ("v_ca", 4)), (("h_b", 3), ("h_c", 4)))
        return _SWITCH + "".join(_wire(signal, channel, f", position = {position}" if position else "")
                                 for position, wires in enumerate(inputs) for signal, channel in wires) + _SETTLE
    if digitizers == "two instruments":
        lines = "".join(_wire(signal, number) for number, signal in enumerate(_SIGNALS[:3], 1))
        sensors = "".join(_wire(signal, number) for number, signal in enumerate(("v_ab", *_SIGNALS[3:]), 1))
        return lines + _SENSOR_WIRING + sensors
    return "".join(_wire(signal, number) for number, signal in enumerate(_SIGNALS, 1))


def _wire(signal: str, channel: int, more: str = "") -> str:
    return _WIRING.format(signal=signal, channel=channel, more=more)


def _with_modbus_drive(text: str, port: int) -> str:
    for scpi, modbus in ((f"TCPIP::127.0.0.1::{port}::SOCKET", f"MODBUS::127.0.0.1::{port}"),
                         ("embedded_drive", "embedded_modbus_drive"),
                         ('model = "DRIVE", serial = "EB-DRV-001"', 'model = "DRIVE-402", serial = "EB-DRV-402"')):
        text = text.replace(scpi, modbus)
    return text


def _role(role: str, port: int, calibrated: Date, due: Date) -> str:
    model, short = MODELS[role]
    dialect = "digitizer" if role == SENSOR_DIGITIZER else role
    return _ROLE.format(role=role, dialect=dialect, port=port, model=model, short=short, year=calibrated.year,
                        date=calibrated.isoformat(), due=due.isoformat())
