"""What is said to the instruments in a run under way, copied into a file: a killed station leaves it behind."""

from contextlib import suppress
from io import FileIO
from pathlib import Path
from threading import Event, Thread
from types import TracebackType
from typing import Self

from station.bench.transcript import Transcript

PERIOD = 0.02   # s from one copying to the next; a kill loses what was said since


class TranscriptSpool:
    """Copies what `transcript` takes down into `path`, inside its `with` block, by a thread of its own.

    Nobody who speaks with an instrument waits for it. What cannot be written is left out: the transcript itself goes
    into the record of a run that comes to its end.
    """

    def __init__(self, transcript: Transcript, path: Path, period: float = PERIOD) -> None:
        self._transcript, self._path, self._period = transcript, path, period
        self._file: FileIO | None = None
        self._copied = 0
        self._ended = Event()
        self._thread = Thread(target=self._copy, name="transcript spool")

    def __enter__(self) -> Self:
        """Begin to copy."""
        with suppress(OSError):
            self._file = FileIO(self._path, "w")
            self._thread.start()
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None,
                 trace: TracebackType | None) -> None:
        """Copy the rest and stop."""
        if self._file is not None:
            self._ended.set()
            self._thread.join()
            with suppress(OSError):
                self._write(self._file)
            self._file.close()

    def _copy(self) -> None:
        with suppress(OSError):
            while self._file is not None and not self._ended.wait(self._period):
                self._write(self._file)

    def _write(self, file: FileIO) -> None:
        self._copied, lines = self._transcript.since(self._copied)
        if lines:
            file.write("".join(line + "\n" for line in lines).encode("ascii"))
