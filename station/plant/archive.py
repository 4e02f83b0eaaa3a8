"""The archive of a plant: the files of stations under the names of their logs, each written whole or not at all.

A folder, or any place that fsspec reaches by an address. Files are never written over, see `file_intake`.
"""

import errno
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from urllib.parse import quote

import fsspec

from station.errors import StationError, UsageError
from station.plant.refused import AwayError, NoRoomError
from station.record.capture_file import make_folder, write_durably

_FULL = {errno.ENOSPC, errno.EDQUOT}


@dataclass(frozen=True, slots=True)
class Archive:
    """Where the files go: `folder` where it is one of this computer, else a file system and a root in it."""

    url: str
    folder: Path | None
    system: Any
    root: str

    def put(self, origin: str, name: str, content: bytes) -> None:
        """Keep a file; where this returns it is kept whole, and where it does not it is there whole or not at all.

        Raises
        ------
        NoRoomError
            The disk is full.
        AwayError
            The archive cannot be reached or written.
        """
        with self._told():
            if self.folder is not None:
                path = self.folder / folder_of(origin) / name
                make_folder(path.parent)
                write_durably(path, content)
                return
            path_there = self._path(origin, name)
            self.system.makedirs(path_there.rpartition("/")[0], exist_ok=True)
            # Stores of objects show one when it is whole; other systems are given another name to write to.
            self.system.pipe_file(f"{path_there}.part", content)
            self.system.mv(f"{path_there}.part", path_there)

    def get(self, origin: str, name: str) -> bytes:
        """Return the content of a file; AwayError where it cannot be had."""
        with self._told():
            return self._content(origin, name)

    def find(self, origin: str, name: str) -> bytes | None:
        """Return the content of a file, None where there is none; AwayError where the archive cannot be reached."""
        with self._told():
            try:
                return self._content(origin, name)
            except FileNotFoundError:
                return None

    def _content(self, origin: str, name: str) -> bytes:
        if self.folder is not None:
            return (self.folder / folder_of(origin) / name).read_bytes()
        content: bytes = self.system.cat_file(self._path(origin, name))
        return content

    def _path(self, origin: str, name: str) -> str:
        return f"{self.root}/{folder_of(origin)}/{name}"

    @contextmanager
    def _told(self) -> Iterator[None]:
        try:
            yield
        except Exception as error:      # the drivers of fsspec raise what they like
            raise self._in_our_words(error) from error

    def _in_our_words(self, error: Exception) -> StationError:
        cause = error.__cause__ if isinstance(error, StationError) else error
        if isinstance(cause, OSError) and cause.errno in _FULL:
            return NoRoomError("the plant's archive has no room", where=self.url, expected="a disk with room",
                               got=str(cause.strerror), remedy="Free space in the archive; stations then go on by "
                               "themselves.")
        return AwayError("the plant's archive cannot be reached", where=self.url, expected="leave to write and read",
                         got=(str(cause or error) or type(error).__name__).splitlines()[0], remedy="Mount it, or mend "
                         "the way to it; stations then go on by themselves.")


def open_archive(url: str) -> Archive:
    """Return the archive at an address; a folder is made when the first file comes.

    Raises
    ------
    UsageError
        Nothing that is installed speaks to such an address.
    """
    if "://" not in url:
        return Archive(url, Path(url), None, "")
    try:
        system, root = fsspec.core.url_to_fs(url)
    except (ImportError, ValueError) as error:
        raise UsageError("the archive cannot be spoken to", where="[archive] url", expected="an address for fsspec",
                         got=str(error), remedy="Install what the message names beside the station, or give another "
                         "address.") from error
    protocol = system.protocol if isinstance(system.protocol, str) else system.protocol[0]
    return Archive(url, Path(root) if protocol == "file" else None, system, root.rstrip("/"))


def folder_of(origin: str) -> str:
    """Return what the folder of a log is called; slashes of its name are no folders."""
    return quote(origin, safe="")
