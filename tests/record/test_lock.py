"""Two stations never write to one store, and a station that died does not keep it."""

import subprocess
import sys

import pytest

from station.errors import UsageError
from station.record.lock import let_go, take_lock

HOLD = """
import sys, time, pathlib
from station.record.lock import take_lock
take_lock(pathlib.Path(sys.argv[1]))
print("held", flush=True)
time.sleep(600)
"""


def test_the_lock_is_free_again_after_letting_go(tmp_path):
    let_go(take_lock(tmp_path))
    let_go(take_lock(tmp_path))


def test_another_process_is_refused_until_the_first_is_killed(tmp_path):
    with subprocess.Popen([sys.executable, "-c", HOLD, str(tmp_path)], stdout=subprocess.PIPE) as holder:
        assert holder.stdout.readline() == b"held\n"
        try:
            with pytest.raises(UsageError, match=f"process {holder.pid}"):
                take_lock(tmp_path)
        finally:
            holder.kill()
            holder.wait()
    let_go(take_lock(tmp_path))
