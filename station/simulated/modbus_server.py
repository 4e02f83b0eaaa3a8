"""The simulated Modbus drive on a loopback TCP port, served by pymodbus: registers, ticks, clean stop."""

import asyncio
import logging
from threading import Event, Thread
from types import TracebackType
from typing import Self, cast

from pymodbus.constants import ExcCodes
from pymodbus.pdu import ModbusPDU
from pymodbus.pdu.device import ModbusDeviceIdentification
from pymodbus.server import ModbusTcpServer
from pymodbus.simulator import DataType, SimData, SimDevice

from station.simulated.modbus_drive import FIRMWARE, MAKER, MODEL, Entry, ModbusDrive, UnwelcomeError

HOST = "127.0.0.1"
TICK = 0.05         # s, wall, between looks at the drive

logging.getLogger("pymodbus").addHandler(logging.NullHandler())   # clients that leave are no news


class ModbusServer:
    """Serves `drive` to any number of clients from entering to leaving the `with` block.

    Port 0 takes a free port. `big_word_first` is the order of 32 bits.
    OSError from the constructor: the port is taken.
    """

    def __init__(self, drive: ModbusDrive, port: int, *, big_word_first: bool = True) -> None:
        self.drive, self.port = drive, port
        self._big_word_first = big_word_first
        self._loop = asyncio.new_event_loop()
        self._ended, self._listening = asyncio.Event(), Event()
        self._failure: Exception | None = None
        self._thread = Thread(target=self._run, name="instrument DRIVE-402")
        self._thread.start()
        self._listening.wait()
        if self._failure is not None:
            self._thread.join()
            raise OSError(str(self._failure)) from self._failure

    def __enter__(self) -> Self:
        """Serving has begun with the constructor."""
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None,
                 trace: TracebackType | None) -> None:
        """Stop serving: every connection is closed and the thread has ended when this returns."""
        self._loop.call_soon_threadsafe(self._ended.set)
        self._thread.join()

    # --- in the serving thread ----------------------------------------------------------------------
    def _run(self) -> None:
        try:
            self._loop.run_until_complete(self._serve())
        finally:
            self._loop.close()
            self._listening.set()

    async def _serve(self) -> None:
        server = ModbusTcpServer(self._device(), address=(HOST, self.port), identity=_identity(),
                                 trace_pdu=self._pass_on)
        try:
            await server.serve_forever(background=True)
            self.port = int(cast(asyncio.Server, server.transport).sockets[0].getsockname()[1])
        except RuntimeError as error:
            self._failure = error
            return
        self._listening.set()
        while not self._ended.is_set():
            self.drive.look()
            try:
                await asyncio.wait_for(self._ended.wait(), TICK)
            except TimeoutError:
                continue
        await server.shutdown()
        await asyncio.sleep(0)      # transports close in the loop's next round

    def _pass_on(self, sending: bool, pdu: ModbusPDU) -> ModbusPDU:
        """Let a request feed the watchdog."""
        if not sending:
            self.drive.heard()
        return pdu

    def _device(self) -> SimDevice:
        registers = [SimData(entry.address, values=[0] * entry.words, datatype=DataType.REGISTERS)
                     for entry in self.drive.entries.values()]
        return SimDevice(0, registers, action=self._act)    # 0: whatever unit number is asked for

    async def _act(self, function: int, start: int, address: int, count: int, registers: list[int],
                   written: list[int] | list[bool] | None) -> ExcCodes | None:
        del function
        touched = [entry for entry in self.drive.entries.values()
                   if entry.address < address + count and address < entry.address + entry.words]
        if written is not None:
            return self._write(touched, address, [int(word) for word in written])
        for entry in touched:
            place = entry.address - start
            registers[place:place + entry.words] = self._split(entry, self.drive.read(entry))
        return None

    def _write(self, touched: list[Entry], address: int, words: list[int]) -> ExcCodes | None:
        for entry in touched:
            place = entry.address - address
            if place < 0 or place + entry.words > len(words):
                return ExcCodes.ILLEGAL_ADDRESS     # half of a number means nothing
            try:
                self.drive.write(entry, self._join(words[place:place + entry.words]))
            except UnwelcomeError:
                return ExcCodes.ILLEGAL_VALUE if entry.write else ExcCodes.ILLEGAL_ADDRESS
        return None

    def _split(self, entry: Entry, raw: int) -> list[int]:
        words = [raw >> 16 * k & 0xFFFF for k in range(entry.words)]    # low word first
        return words[::-1] if self._big_word_first else words

    def _join(self, words: list[int]) -> int:
        ordered = words if self._big_word_first else words[::-1]
        raw = 0
        for word in ordered:
            raw = raw << 16 | word
        return raw


def _identity() -> ModbusDeviceIdentification:
    return ModbusDeviceIdentification(info={0: MAKER, 1: MODEL, 2: FIRMWARE})
