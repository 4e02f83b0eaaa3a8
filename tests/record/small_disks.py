"""Disks that fill up or cannot be written, for tests: real ones where the computer lets us mount them."""

import os
import resource
import subprocess
from contextlib import contextmanager, suppress

import pytest


@contextmanager
def small_disk(folder, megabytes=3, files=1000):
    """Mount a disk of this size and with room for so many files; the test is left out where nobody may mount."""
    folder.mkdir(exist_ok=True)
    _as_root(["mount", "-t", "tmpfs", "-o", f"size={megabytes}m,nr_inodes={files}", "small", folder])
    try:
        yield folder
    finally:
        subprocess.run(["umount", folder], check=True)


def mount_again(folder, mode):
    """Let a mounted disk be written ("rw") or not ("ro")."""
    _as_root(["mount", "-o", f"remount,{mode}", folder])


def _as_root(words):
    made = subprocess.run(words, capture_output=True, text=True, check=False)
    if made.returncode:
        pytest.skip(f"needs root and leave to mount: {made.stderr.strip()}")


def fill(folder, left):
    """Leave at most `left` bytes of the disk of `folder` free; return the file that takes the rest."""
    disk = os.statvfs(folder)
    file = folder / "filler"
    with suppress(OSError), file.open("wb") as filler:  # what others write meanwhile leaves less
        filler.write(bytes(max(0, disk.f_bavail * disk.f_frsize - left)))
    return file


@contextmanager
def files_no_longer_than(size):
    """Let every file of this process end at `size` bytes, as on a disk or quota that is used up."""
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (size, hard))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))


@contextmanager
def unwritable(folder):
    """Let nobody, not even root, make or remove files in `folder`."""
    mark, unmark = (["chattr", "+i"], ["chattr", "-i"]) if os.geteuid() == 0 else (["chmod", "555"], ["chmod", "755"])
    _as_root([*mark, folder])
    try:
        yield
    finally:
        subprocess.run([*unmark, folder], check=True)
