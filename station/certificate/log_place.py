"""Where a record stands in the log of its station, in the words that a certificate prints."""

from base64 import b32encode
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

SHORT = 16      # letters of the leaf in the footer: 80 bits, which nobody finds twice by trying


@dataclass(frozen=True, slots=True)
class LogPlace:
    """The name of the log, the number of the entry in it, and the hash of its leaf."""

    origin: str
    seq: int
    leaf: bytes

    @property
    def letters(self) -> str:
        """The leaf in 52 capitals and digits. Source: RFC 4648, section 6, without padding."""
        return b32encode(self.leaf).decode().rstrip("=")

    @property
    def parts(self) -> tuple[str, str]:
        """What the QR code says, `origin/seq/leaf`, parted where capitals and digits begin."""
        return self.origin, f"/{self.seq}/{self.letters}"

    @property
    def footer(self) -> str:
        """The same in short, as it stands on every page."""
        short = self.letters[:SHORT]
        grouped = " ".join(short[i:i + 4] for i in range(0, SHORT, 4))
        return f"log {self.origin}, entry {self.seq}, leaf {grouped} … (base32; whole in the code on page 1)"


def log_place(record: Mapping[str, Any], leaf: bytes) -> LogPlace | None:
    """Return the place that `record` names, its leaf hash being `leaf`; None for a record from before the log."""
    log = record.get("log")
    return LogPlace(str(log["origin"]), int(log["seq"]), leaf) if log else None
