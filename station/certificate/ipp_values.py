"""Values of IPP attributes as bytes: one row a tag, with how it is written and how it is read.

Source: RFC 8010, sections 3.5.2 and 3.9.
"""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta, timezone
from enum import IntEnum
from struct import Struct


class Tag(IntEnum):
    """What kind of value follows. Source: RFC 8010, section 3.5.2."""

    UNSUPPORTED = 0x10
    UNKNOWN = 0x12
    NO_VALUE = 0x13
    INTEGER = 0x21
    BOOLEAN = 0x22
    ENUM = 0x23
    OCTETS = 0x30
    DATE_TIME = 0x31
    RESOLUTION = 0x32
    RANGE = 0x33
    BEGIN_COLLECTION = 0x34
    TEXT_WITH_LANGUAGE = 0x35
    NAME_WITH_LANGUAGE = 0x36
    END_COLLECTION = 0x37
    TEXT = 0x41
    NAME = 0x42
    KEYWORD = 0x44
    URI = 0x45
    URI_SCHEME = 0x46
    CHARSET = 0x47
    LANGUAGE = 0x48
    MIME_TYPE = 0x49
    MEMBER_NAME = 0x4A


@dataclass(frozen=True, slots=True)
class Resolution:
    """Dots across and along the feed; `unit` is 3 for an inch, 4 for a centimetre."""

    across: int
    feed: int
    unit: int


@dataclass(frozen=True, slots=True)
class Range:
    """All integers from `low` to `high`."""

    low: int
    high: int


@dataclass(frozen=True, slots=True)
class InLanguage:
    """A text or a name with the language it is in."""

    language: str
    text: str


Plain = int | bool | str | bytes | datetime | Resolution | Range | InLanguage | None

_INTEGER, _RESOLUTION, _RANGE, _SHORT = Struct(">i"), Struct(">iib"), Struct(">ii"), Struct(">H")
_DATE_TIME = Struct(">HBBBBBBcBB")      # Source: RFC 2579, DateAndTime


def write_plain(tag: int, value: Plain) -> bytes:
    """Return the octets of a value that is no collection; ValueError when `value` is not of the kind of `tag`."""
    if tag not in _KINDS:
        if not isinstance(value, bytes):
            raise ValueError(f"tag 0x{tag:02x} takes octets as they are, not {value!r}")
        return value
    kind, write, _ = _KINDS[tag]
    if type(value) is not kind:
        raise ValueError(f"tag 0x{tag:02x} takes {kind.__name__}, not {value!r}")
    return write(value)


def read_plain(tag: int, octets: bytes) -> Plain:
    """Return the value in `octets`; of a tag that is not known here, the octets. ValueError when it is none.

    Texts that are not UTF-8 are read with the wrong octets escaped: they are words for people.
    """
    return _KINDS[tag][2](octets) if tag in _KINDS else octets


def _read_with(layout: Struct, make: Callable[..., Plain]) -> Callable[[bytes], Plain]:
    def read(octets: bytes) -> Plain:
        if len(octets) != layout.size:
            raise ValueError(f"{len(octets)} octets where {layout.size} belong")
        return make(*layout.unpack(octets))

    return read


def _write_integer(value: int) -> bytes:
    if not -1 << 31 <= value < 1 << 31:
        raise ValueError(f"{value} does not fit into four octets")
    return _INTEGER.pack(value)


def _read_boolean(octets: bytes) -> bool:
    if octets not in (b"\0", b"\1"):
        raise ValueError(f"{octets.hex() or 'nothing'} where 00 or 01 belongs")
    return octets == b"\1"


def _write_date_time(value: datetime) -> bytes:
    ahead = value.utcoffset()
    if ahead is None:
        raise ValueError("a date without its offset from UTC")
    minutes = abs(ahead) // timedelta(minutes=1)
    return _DATE_TIME.pack(value.year, value.month, value.day, value.hour, value.minute, value.second,
                           value.microsecond // 100_000, b"-" if ahead < timedelta() else b"+",
                           minutes // 60, minutes % 60)


def _make_date_time(year: int, month: int, day: int, hour: int, minute: int, second: int, tenths: int,
                    sign: bytes, ahead_h: int, ahead_min: int) -> datetime:
    if sign not in (b"+", b"-"):
        raise ValueError(f"{sign!r} where + or - belongs")
    ahead = timedelta(hours=ahead_h, minutes=ahead_min) * (1 if sign == b"+" else -1)
    # A leap second has no place in a datetime.
    return datetime(year, month, day, hour, minute, min(second, 59), tenths * 100_000,
                    timezone(ahead) if ahead else UTC)


def _write_in_language(value: InLanguage) -> bytes:
    parts = (value.language.encode("ascii"), value.text.encode())
    return b"".join(_SHORT.pack(len(part)) + part for part in parts)


def _read_in_language(octets: bytes) -> InLanguage:
    parts, rest = [], octets
    for _ in range(2):
        if len(rest) < 2 or len(rest) - 2 < (length := _SHORT.unpack(rest[:2])[0]):
            raise ValueError("a language or its text is cut off")
        parts.append(_words(rest[2:2 + length]))
        rest = rest[2 + length:]
    if rest:
        raise ValueError(f"{len(rest)} octets behind the text")
    return InLanguage(*parts)


def _words(octets: bytes) -> str:
    return octets.decode("utf-8", "backslashreplace")


def _nothing(_: bytes) -> None:
    return None


_KINDS: dict[int, tuple[type, Callable[..., bytes], Callable[[bytes], Plain]]] = {
    **dict.fromkeys((Tag.UNSUPPORTED, Tag.UNKNOWN, Tag.NO_VALUE), (type(None), lambda _: b"", _nothing)),
    **dict.fromkeys((Tag.INTEGER, Tag.ENUM), (int, _write_integer, _read_with(_INTEGER, int))),
    Tag.BOOLEAN: (bool, lambda value: b"\1" if value else b"\0", _read_boolean),
    Tag.OCTETS: (bytes, bytes, bytes),
    Tag.DATE_TIME: (datetime, _write_date_time, _read_with(_DATE_TIME, _make_date_time)),
    Tag.RESOLUTION: (Resolution, lambda v: _RESOLUTION.pack(v.across, v.feed, v.unit),
                     _read_with(_RESOLUTION, Resolution)),
    Tag.RANGE: (Range, lambda v: _RANGE.pack(v.low, v.high), _read_with(_RANGE, Range)),
    **dict.fromkeys((Tag.TEXT_WITH_LANGUAGE, Tag.NAME_WITH_LANGUAGE),
                    (InLanguage, _write_in_language, _read_in_language)),
    **dict.fromkeys((Tag.TEXT, Tag.NAME, Tag.KEYWORD, Tag.URI, Tag.URI_SCHEME, Tag.CHARSET, Tag.LANGUAGE,
                     Tag.MIME_TYPE), (str, str.encode, _words)),
}
