"""Hands at the simulated bench: JSON lines that place motors, move the guard, press START, break things."""

import json
import socket
from collections.abc import Callable, Mapping
from types import TracebackType
from typing import Any, Protocol, Self

from station.errors import BenchError, NoReplyError, StationError
from station.simulated.fault_plan import Fault
from station.simulated.listener import HOST, Listener
from station.simulated.rig import Rig

LINE_LIMIT = 65536  # bytes


class Breakable(Protocol):
    """Instruments that can be broken by role; each raises StationError for an unknown role."""

    def silence(self, role: str, seconds: float) -> None:
        """Let the instrument neither hear nor answer for so many wall seconds."""
    def arm(self, role: str, fault: Fault) -> None:
        """Let `fault` strike at a message of `role`."""
    def struck(self, role: str) -> list[str]:
        """Return which faults have struck at messages of `role`."""
    def mend(self) -> None:
        """End every fault and take back those that have not struck."""


class SideServer(Listener):
    """Answers each JSON line {"do": ..., ...} with {"ok": true, ...} or {"ok": false, "error": ...}."""

    def __init__(self, rig: Rig, port: int, bench: Breakable) -> None:
        super().__init__(port, "side channel", self._converse)
        self._rig, self._bench = rig, bench
        self._deeds = self._all_deeds()

    def _converse(self, connection: socket.socket) -> None:
        with connection.makefile("rb") as lines:
            while line := lines.readline(LINE_LIMIT):
                connection.sendall(json.dumps(self._answer(line)).encode() + b"\n")

    def _answer(self, line: bytes) -> dict[str, Any]:
        try:
            order = json.loads(line)
            return {"ok": True} | (self._deeds[order["do"]](order) or {})
        except StationError as error:
            return {"ok": False, "error": str(error)}
        except (ValueError, TypeError, KeyError, AttributeError) as error:
            wanted = ", ".join(self._deeds)
            return {"ok": False, "error": f"not understood ({error!r}); `do` is one of {wanted}"}

    def _all_deeds(self) -> dict[str, Callable[[Mapping[str, Any]], dict[str, Any] | None]]:
        rig = self._rig
        return {
            "place": lambda order: rig.place(str(order["serial"])),
            "remove": lambda _: rig.remove(),
            "open_guard": lambda _: rig.open_guard(),
            "close_guard": lambda _: rig.close_guard(),
            "press_start": lambda _: rig.press_start(),
            "attend": lambda order: setattr(rig, "attended", bool(order["on"])),
            "emergency_stop": lambda order: setattr(rig, "emergency_stop_healthy", not order["pressed"]),
            "silence": lambda order: self._bench.silence(str(order["role"]), float(order["seconds"])),
            "fault": lambda order: self._bench.arm(str(order["role"]), _fault_in(order)),
            "struck": lambda order: {"struck": self._bench.struck(str(order["role"]))},
            "mend": lambda _: self._bench.mend(),
            "state": lambda _: self._state(),
        }

    def _state(self) -> dict[str, Any]:
        rig = self._rig
        return {
            "serial": rig.serial, "guard_closed": rig.guard_closed, "start_latched": rig.start_latched,
            "armed": rig.armed, "attended": rig.attended,
            "emergency_stop_healthy": rig.emergency_stop_healthy, "now": rig.now(), "pace": rig.pace,
            "speed_rpm": rig.shaft.speed_rpm(rig.now()), "insulation_V": rig.insulation_voltage(),
            "drive_on": rig.shaft.enabled, "sensor_supply_on": rig.sensor_supply_on,
        }


def _fault_in(order: Mapping[str, Any]) -> Fault:
    return Fault(str(order["kind"]), int(order.get("after", 0)), float(order.get("seconds", 1.0)),
                 int(order.get("times", 1)))


class SideChannel:
    """A client of the side channel; every method raises BenchError when the bench refuses."""

    def __init__(self, port: int, deadline: float = 5.0) -> None:
        try:
            self._socket = socket.create_connection((HOST, port), timeout=deadline)
        except OSError as error:
            raise self._no_reply(port, error) from error
        self._port, self._lines = port, self._socket.makefile("rb")

    def __enter__(self) -> Self:
        """Return itself, connected."""
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None,
                 trace: TracebackType | None) -> None:
        """Close the connection."""
        self.close()

    def close(self) -> None:
        """Close the connection; safe to repeat."""
        self._lines.close()
        self._socket.close()

    def place(self, serial: str) -> None:
        """Put a motor of the lot into the fixture."""
        self._tell("place", serial=serial)

    def remove(self) -> None:
        """Take the motor out."""
        self._tell("remove")

    def open_guard(self) -> None:
        """Open the guard."""
        self._tell("open_guard")

    def close_guard(self) -> None:
        """Close the guard."""
        self._tell("close_guard")

    def press_start(self) -> None:
        """Press START."""
        self._tell("press_start")

    def attend(self, on: bool) -> None:
        """Let somebody stand at the bench who presses START whenever its lamp lights, or nobody."""
        self._tell("attend", on=on)

    def emergency_stop(self, pressed: bool) -> None:
        """Press or release the emergency stop."""
        self._tell("emergency_stop", pressed=pressed)

    def silence(self, role: str, seconds: float) -> None:
        """Let the instrument of `role` neither hear nor answer for so many wall seconds."""
        self._tell("silence", role=role, seconds=seconds)

    def fault(self, role: str, kind: str, *, after: int = 0, seconds: float = 1.0, times: int = 1) -> None:
        """Let a fault strike at the first fit message of `role` once `after` have passed; see `fault_plan`."""
        self._tell("fault", role=role, kind=kind, after=after, seconds=seconds, times=times)

    def struck(self, role: str) -> list[str]:
        """Return which faults have struck at messages of `role` since `mend`, in order."""
        return list(self._tell("struck", role=role)["struck"])

    def mend(self) -> None:
        """End every fault and take back those that have not struck; guard and emergency stop are a person's."""
        self._tell("mend")

    def state(self) -> dict[str, Any]:
        """Return what an eye at the bench would see; speeds in rpm, voltages in V, simulated seconds."""
        return self._tell("state")

    def _tell(self, do: str, **more: object) -> dict[str, Any]:
        try:
            self._socket.sendall(json.dumps({"do": do, **more}).encode() + b"\n")
            line = self._lines.readline(LINE_LIMIT)
        except OSError as error:
            raise self._no_reply(self._port, error) from error
        if not line:
            raise self._no_reply(self._port, ConnectionError("closed by the bench"))
        answer: dict[str, Any] = json.loads(line)
        if not answer.pop("ok"):
            raise BenchError(f"the simulated bench refused `{do}`", where="side channel", expected="done",
                             got=answer["error"], remedy="Mend what it names and send it again.")
        return answer

    @staticmethod
    def _no_reply(port: int, error: OSError) -> NoReplyError:
        return NoReplyError("no simulated bench answers", where=f"side channel, port {port}",
                            expected="a served bench", got=str(error) or type(error).__name__,
                            remedy="Start it with `station bench simulate`.")
