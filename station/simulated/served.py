"""The face that every simulated instrument of text messages shows to the servers."""

from typing import Protocol

from station.simulated.scpi_error import ScpiError


class Served(Protocol):
    """Obeys one message at a time; servers on sockets and HiSLIP call it from their threads."""

    @property
    def model(self) -> str:
        """Name the instrument."""

    def execute(self, message: bytes) -> bytes:
        """Obey one message without its terminator; return the answers with theirs, or nothing."""
    def look(self) -> None:
        """Let time pass for the instrument."""
    def report(self, error: ScpiError) -> None:
        """Queue an error that the connection found."""
    def end(self) -> None:
        """Break off any waiting; the instrument is about to be switched off."""
