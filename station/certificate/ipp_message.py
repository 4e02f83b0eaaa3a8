"""IPP requests and responses as bytes: groups of attributes, then the document.

Source: RFC 8010, section 3.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from enum import IntEnum
from struct import Struct

from station.certificate.ipp_values import Plain, Tag, read_plain, write_plain
from station.errors import PrinterError

VERSION = (1, 1)
DEEPEST = 8             # collections within collections; no attribute of RFC 8011 goes beyond three
LONGEST = 0x7FFF        # octets of a name or a value. Source: RFC 8010, section 3.1.4, SIGNED-SHORT

_HEAD, _LENGTH = Struct(">bbHi"), Struct(">h")


class GroupTag(IntEnum):
    """What a group of attributes is about. Source: RFC 8010, section 3.5.1."""

    OPERATION = 0x01
    JOB = 0x02
    END = 0x03
    PRINTER = 0x04
    UNSUPPORTED = 0x05


LAST_DELIMITER = 0x0F   # tags up to here begin a group, or end them all


@dataclass(frozen=True, slots=True)
class Value:
    """One value with its tag; a collection (tag 0x34) holds its members as attributes."""

    tag: int
    content: "Plain | tuple[Attribute, ...]"


@dataclass(frozen=True, slots=True)
class Attribute:
    """A name with one value or more, which need not be of one kind."""

    name: str
    values: tuple[Value, ...]


@dataclass(frozen=True, slots=True)
class Group:
    """The attributes behind one group tag; those of each job come in a group of their own."""

    tag: int
    attributes: tuple[Attribute, ...]

    def contents(self, name: str) -> tuple[object, ...]:
        """Return the contents of the values of `name`, none if it is not there; names without their language."""
        found = next((attribute.values for attribute in self.attributes if attribute.name == name), ())
        return tuple(getattr(value.content, "text", value.content) for value in found)

    def first(self, name: str) -> object:
        """Return the content of the first value of `name`, None if it is not there."""
        return next(iter(self.contents(name)), None)


@dataclass(frozen=True, slots=True)
class Message:
    """A request, whose `code` is the operation, or a response, whose `code` is the status."""

    code: int
    request_id: int
    groups: tuple[Group, ...]
    document: bytes = b""
    version: tuple[int, int] = VERSION

    def group(self, tag: int) -> Group:
        """Return the first group with `tag`, an empty one if there is none."""
        return next((group for group in self.groups if group.tag == tag), Group(tag, ()))


def attribute(name: str, tag: int, *contents: Plain) -> Attribute:
    """Return an attribute whose values are all of one kind."""
    return Attribute(name, tuple(Value(tag, content) for content in contents))


def encode(message: Message) -> bytes:
    """Return the bytes of `message`; ValueError when it cannot be written: no value, wrong kind, too long."""
    parts = [_HEAD.pack(*message.version, message.code, message.request_id)]
    for group in message.groups:
        parts.append(bytes([group.tag]))
        for one in group.attributes:
            parts += _written(one.name, one.values)
    return b"".join([*parts, bytes([GroupTag.END]), message.document])


def _written(name: str, values: Iterable[Value]) -> list[bytes]:
    """Write one attribute: its name with the first value, no name with any further one."""
    names = [name.encode("ascii")]
    parts = []
    for value in values:
        parts += _field(value, names.pop() if names else b"")
    if names:
        raise ValueError(f"{name} has no value")
    return parts


def _field(value: Value, name: bytes) -> list[bytes]:
    if not isinstance(value.content, tuple):
        return [bytes([value.tag]), *_counted(name), *_counted(write_plain(value.tag, value.content))]
    if value.tag != Tag.BEGIN_COLLECTION:
        raise ValueError(f"tag 0x{value.tag:02x} takes no members")
    parts = [bytes([Tag.BEGIN_COLLECTION]), *_counted(name), *_counted(b"")]
    for member in value.content:
        parts += [bytes([Tag.MEMBER_NAME]), *_counted(b""), *_counted(member.name.encode("ascii"))]
        if not member.values:
            raise ValueError(f"{member.name} has no value")
        for one in member.values:
            parts += _field(one, b"")
    return [*parts, bytes([Tag.END_COLLECTION]), *_counted(b""), *_counted(b"")]


def _counted(octets: bytes) -> tuple[bytes, bytes]:
    if len(octets) > LONGEST:
        raise ValueError(f"{len(octets)} octets, but at most {LONGEST}")
    return _LENGTH.pack(len(octets)), octets


def decode(octets: bytes) -> Message:
    """Return the message in `octets`, which must be whole.

    Raises
    ------
    PrinterError
        They are no IPP message; says at which octet and what belongs there.
    """
    return _Reader(octets).message()


class _Reader:
    """Goes once through the bytes of a message."""

    def __init__(self, octets: bytes) -> None:
        self._octets, self._at = octets, 0

    def message(self) -> Message:
        major, minor, code, request_id = _HEAD.unpack(self._take(_HEAD.size, "version, code and request id"))
        groups = []
        while (tag := self._tag()) != GroupTag.END:
            if not 0 < tag <= LAST_DELIMITER:
                raise self._fault("a tag that begins a group", f"0x{tag:02x}")
            groups.append(Group(tag, tuple(self._attributes())))
        return Message(code, request_id, tuple(groups), self._octets[self._at:], (major, minor))

    def _attributes(self) -> list[Attribute]:
        """Read until the next group begins or the message ends."""
        found: list[tuple[str, list[Value]]] = []
        while self._peek() > LAST_DELIMITER:
            tag, name, content = self._tag(), self._name(), self._counted()
            if name:
                found.append((name, []))
            elif not found:
                raise self._fault("an attribute with a name", "one without")
            found[-1][1].append(self._value(tag, content, 0))
        return [Attribute(name, tuple(values)) for name, values in found]

    def _value(self, tag: int, content: bytes, depth: int) -> Value:
        if tag == Tag.BEGIN_COLLECTION:
            return Value(tag, tuple(self._members(depth + 1)))
        if tag in (Tag.END_COLLECTION, Tag.MEMBER_NAME):
            raise self._fault("a value", f"the tag 0x{tag:02x} outside of a collection")
        try:
            return Value(tag, read_plain(tag, content))
        except (ValueError, OverflowError) as error:
            raise self._fault(f"a value of tag 0x{tag:02x}", str(error)) from error

    def _members(self, depth: int) -> list[Attribute]:
        if depth > DEEPEST:
            raise self._fault(f"at most {DEEPEST} collections within each other", "more")
        found: list[tuple[str, list[Value]]] = []
        while (tag := self._tag()) != Tag.END_COLLECTION:
            if self._name():
                raise self._fault("no name within a collection", "one")
            content = self._counted()
            if tag == Tag.MEMBER_NAME:
                found.append((content.decode("ascii", "backslashreplace"), []))
            elif found:
                found[-1][1].append(self._value(tag, content, depth))
            else:
                raise self._fault("the name of a member", f"the tag 0x{tag:02x}")
        self._counted(), self._counted()
        if not all(values for _, values in found):
            raise self._fault("a value for each member", "none")
        return [Attribute(name, tuple(values)) for name, values in found]

    def _name(self) -> str:
        return self._counted().decode("ascii", "backslashreplace")

    def _counted(self) -> bytes:
        length, = _LENGTH.unpack(self._take(_LENGTH.size, "a length"))
        if length < 0:
            raise self._fault("a length from 0 on", str(length))
        return self._take(length, f"{length} octets")

    def _tag(self) -> int:
        return self._take(1, "a tag")[0]

    def _peek(self) -> int:
        if self._at == len(self._octets):
            raise self._fault("a tag", "the end of the message")
        return self._octets[self._at]

    def _take(self, count: int, what: str) -> bytes:
        taken = self._octets[self._at:self._at + count]
        if len(taken) < count:
            raise self._fault(what, "the end of the message")
        self._at += count
        return taken

    def _fault(self, expected: str, got: str) -> PrinterError:
        return PrinterError("no IPP message", where=f"octet {self._at}", expected=expected, got=got,
                            remedy="See that the address in the station file is that of an IPP printer.")
