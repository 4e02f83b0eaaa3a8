"""What a program asked of the file system, in order, taken from a trace of its system calls (strace)."""

import re
import subprocess
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

LONGEST = 8_000_000     # bytes of one write that the trace keeps
TRACED = ("openat,open,creat,write,writev,pwrite64,pwritev,pwritev2,ftruncate,truncate,fallocate,fsync,fdatasync,"
          "sync_file_range,rename,renameat,renameat2,link,linkat,symlink,symlinkat,unlink,unlinkat,mkdir,mkdirat,rmdir,"
          "lseek,mmap,sendfile,copy_file_range,splice")


@dataclass(frozen=True)
class Create:
    """A file came into being."""

    path: str


@dataclass(frozen=True)
class MakeFolder:
    """A folder came into being."""

    path: str


@dataclass(frozen=True)
class Write:
    """Bytes were handed to the operating system."""

    path: str
    offset: int
    content: bytes


@dataclass(frozen=True)
class Cut:
    """A file was brought to a length."""

    path: str
    size: int


@dataclass(frozen=True)
class Sync:
    """What had been done to a file or to the names in a folder before event number `began` is on the medium."""

    path: str
    began: int


@dataclass(frozen=True)
class Rename:
    """A name was moved over another."""

    path: str
    to: str


@dataclass(frozen=True)
class Remove:
    """A name was taken away."""

    path: str


@dataclass(frozen=True)
class Said:
    """The program told its caller something on standard output."""

    text: str


Event = Create | MakeFolder | Write | Cut | Sync | Rename | Remove | Said


def trace(words: Sequence[str | Path], into: Path, *, ends_with: Sequence[int] = (0,), seconds: float = 240) -> str:
    """Run a program under strace, write the trace to `into`, and return what the program printed."""
    # The filter in the kernel leaves every other call at its full speed.
    strace = ["strace", "-f", "-y", "-xx", "--seccomp-bpf", "-s", str(LONGEST), "-e", f"trace={TRACED}",
              "-e", "signal=none", "-o", str(into)]
    ended = subprocess.run([*strace, *map(str, words)], capture_output=True, text=True, timeout=seconds, check=False)
    if ended.returncode not in ends_with:
        said = ended.stdout[-1000:] + ended.stderr[-1000:]
        raise RuntimeError(f"the traced program ended with {ended.returncode}: {said}")
    return ended.stdout


def events_under(folder: Path, traced: Path) -> list[Event]:
    """Return what the traced program did to `folder`, and what it said; RuntimeError on a call that is not modelled."""
    reading = _Reading(str(folder))
    with traced.open(encoding="ascii") as lines:
        for line in lines:
            reading.take(line)
    return reading.events


_HEX = r"((?:\\x[0-9a-f]{2})*)"
_FD = rf"(\d+)<{_HEX}>"
_AT = r"(?:AT_FDCWD<[^>]*>|AT_FDCWD), "
_FORMS = {
    "openat": rf'{_AT}"{_HEX}", ([A-Z_|0-9x]+)(?:, 0\d+)?\) += {_FD}',
    "write": rf'{_FD}, "{_HEX}", \d+\) += (\d+)',
    "pwrite64": rf'{_FD}, "{_HEX}", \d+, (\d+)\) += (\d+)',
    "ftruncate": rf"{_FD}, (\d+)\) += 0",
    "lseek": rf"{_FD}, -?\d+, SEEK_\w+\) += (\d+)",
    "fsync": rf"{_FD}\) += 0",
    "fdatasync": rf"{_FD}\) += 0",
    "rename": rf'"{_HEX}", "{_HEX}"\) += 0',
    "unlink": rf'"{_HEX}"\) += 0',
    "mkdir": rf'"{_HEX}", 0\d+\) += 0',
}
_CALLS = {name: re.compile(form) for name, form in _FORMS.items()}
_LINE = re.compile(r"(\d+) +(\w+)\((.*)", re.DOTALL)
_RESUMED = re.compile(r"(\d+) +<\.\.\. (\w+) resumed>(.*)", re.DOTALL)
_UNFINISHED = " <unfinished ...>"


class _Reading:
    """Turns the lines of a trace into events; descriptors are shared by the threads of one process."""

    def __init__(self, folder: str) -> None:
        self.events: list[Event] = []
        self._folder = folder
        self._hexed = "".join(f"\\x{byte:02x}" for byte in folder.encode())
        self._positions: dict[str, int] = {}        # by descriptor
        self._sizes: dict[str, int] = {}
        self._pending: dict[str, tuple[str, int]] = {}      # per thread: the call so far, events when it began
        self._takers: dict[str, Callable[..., Iterator[Event]]] = {
            "openat": self._opened, "write": self._written, "pwrite64": self._written_at, "ftruncate": self._truncated,
            "lseek": self._moved, "rename": self._renamed, "unlink": self._unlinked, "mkdir": self._made}

    def take(self, line: str) -> None:
        """Read one line; a call that another thread interrupted comes in two."""
        resumed = _RESUMED.match(line)
        if resumed:
            start, began = self._pending.pop(resumed[1], ("", 0))
            self._call(resumed[2], start + resumed[3], began)
        elif call := _LINE.match(line.rstrip("\n")):
            if call[3].endswith(_UNFINISHED):
                self._pending[call[1]] = call[3].removesuffix(_UNFINISHED), len(self.events)
            else:
                self._call(call[2], call[3], len(self.events))

    def _call(self, name: str, words: str, began: int) -> None:
        if not (self._hexed in words or (name == "write" and words.startswith("1<"))):
            return      # of no file of ours
        if ">(deleted)" in words or re.search(r"\) += -1 ", words):
            return      # of a file that no name leads to any more; or it failed, and changed nothing
        form = _CALLS.get(name)
        found = form.match(words) if form else None
        if found and name in ("fsync", "fdatasync"):
            self.events.append(Sync(_text(found[2]), began))
        elif found:
            self.events.extend(self._takers[name](*found.groups()))
        elif not _is_harmless(name, words):
            raise RuntimeError(f"a call that the model of power cuts does not know: {name}({words[:300]}")

    def _is_ours(self, path: str) -> bool:
        return path == self._folder or path.startswith(self._folder + "/")

    def _opened(self, _asked: str, flags: str, descriptor: str, path: str) -> Iterator[Event]:
        path = _text(path)
        self._positions[descriptor] = 0
        if not self._is_ours(path):
            return
        if "O_CREAT" in flags and path not in self._sizes:
            self._sizes[path] = 0
            yield Create(path)
        elif "O_TRUNC" in flags:
            self._sizes[path] = 0
            yield Cut(path, 0)
        if "O_APPEND" in flags:
            self._positions[descriptor] = self._sizes[path]     # of one writer: it stays the end

    def _written(self, descriptor: str, path: str, content: str, count: str) -> Iterator[Event]:
        told = _bytes(content, count)
        if self._is_ours(_text(path)):
            yield self._write(_text(path), self._positions[descriptor], told)
            self._positions[descriptor] += len(told)
        elif descriptor == "1":
            yield Said(told.decode())

    def _written_at(self, _descriptor: str, path: str, content: str, offset: str, count: str) -> Iterator[Event]:
        yield self._write(_text(path), int(offset), _bytes(content, count))

    def _write(self, path: str, offset: int, content: bytes) -> Write:
        self._sizes[path] = max(self._sizes[path], offset + len(content))
        return Write(path, offset, content)

    def _truncated(self, _descriptor: str, path: str, size: str) -> Iterator[Event]:
        self._sizes[_text(path)] = int(size)
        yield Cut(_text(path), int(size))

    def _moved(self, descriptor: str, _path: str, position: str) -> Iterator[Event]:
        self._positions[descriptor] = int(position)
        yield from ()

    def _renamed(self, path: str, to: str) -> Iterator[Event]:
        self._sizes[_text(to)] = self._sizes.pop(_text(path))
        yield Rename(_text(path), _text(to))

    def _unlinked(self, path: str) -> Iterator[Event]:
        self._sizes.pop(_text(path), None)
        yield Remove(_text(path))

    def _made(self, path: str) -> Iterator[Event]:
        yield MakeFolder(_text(path))


def _is_harmless(name: str, words: str) -> bool:
    """Return whether a call that has no form changes no content: files read, and the index of a WAL in memory."""
    return ((name == "mmap" and ("PROT_WRITE" not in words or _hex("-shm>") in words))
            or (name == "openat" and "O_CREAT" not in words and "O_TRUNC" not in words))


def _hex(text: str) -> str:
    return "".join(f"\\x{byte:02x}" for byte in text.removesuffix(">").encode()) + ">" * text.endswith(">")


def _text(hexed: str) -> str:
    return bytes.fromhex(hexed.replace("\\x", "")).decode()


def _bytes(hexed: str, count: str) -> bytes:
    content = bytes.fromhex(hexed.replace("\\x", ""))
    if len(content) != int(count):
        raise RuntimeError(f"the trace holds {len(content)} of {count} bytes written")
    return content
