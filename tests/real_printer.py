"""A printer that nobody here wrote, on a message bus of its own: no system bus, no other daemon, no rights needed.

It is `ippeveprinter` of Debian's cups-ipp-utils. It announces itself over a D-Bus, and goes without the announcing
where there is a bus but nobody on it.
"""

import contextlib
import os
import shutil
import socket
import subprocess
import tempfile
import time
from pathlib import Path

from station.simulated.free_port import free_ports

BUS = """<busconfig>
  <listen>unix:path={path}</listen>
  <policy context="default">
    <allow send_destination="*" eavesdrop="true"/><allow eavesdrop="true"/><allow own="*"/>
  </policy>
</busconfig>
"""
# What ippeveprinter calls to print: it tells what is lacking, works as long as it is held, may give up.
ENGINE = """#!/bin/sh
while [ -e {folder}/hold ]; do
    [ -e {folder}/lacks ] && echo "STATE: +$(cat {folder}/lacks)" >&2
    sleep 0.05
done
[ -e {folder}/lacks ] && echo "STATE: -$(cat {folder}/lacks)" >&2
[ -e {folder}/spoilt ] && exit 1
exit 0
"""
START, STOP = 20, 10    # s


def program(name):
    found = shutil.which(name, path=os.environ["PATH"] + ":/usr/sbin:/usr/bin")
    assert found, f"{name} is missing: run tests/run, which installs what tests/environment names"
    return found


@contextlib.contextmanager
def message_bus():
    """Run a message bus and give its address."""
    with tempfile.TemporaryDirectory(prefix="bus-") as folder:
        path, conf = Path(folder) / "bus", Path(folder) / "bus.conf"
        conf.write_text(BUS.format(path=path))
        words = [program("dbus-daemon"), f"--config-file={conf}", "--nofork", "--nopidfile", "--print-address"]
        with subprocess.Popen(words, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True) as daemon:
            try:
                yield daemon.stdout.readline().strip()
            finally:
                daemon.terminate()
                daemon.wait(STOP)


class RealPrinter:
    """`start` and `stop` it; what it printed is in `printed()`. Off until started.

    Its port stays the same, and is none that another connection could be given while it is off.
    """

    def __init__(self, folder, bus):
        self.folder, self.bus, self.process = folder, bus, None
        for name in ("spool", "keys"):
            (folder / name).mkdir(parents=True)
        self.engine = folder / "engine"
        self.engine.write_text(ENGINE.format(folder=folder))
        self.engine.chmod(0o755)
        (self.port,) = free_ports(1)
        self.uri = f"ipp://localhost:{self.port}/ipp/print"

    def start(self, formats="application/pdf"):
        words = [program("ippeveprinter"), "-vv", "-r", "off", "-p", str(self.port), "-n", "localhost",
                 "-d", str(self.folder / "spool"), "-k", "-K", str(self.folder / "keys"), "-c", str(self.engine),
                 "-f", formats, "EOL printer"]
        with (self.folder / "log").open("ab") as log:
            self.process = subprocess.Popen(words, stdout=log, stderr=log, stdin=subprocess.DEVNULL,
                                            env={**os.environ, "DBUS_SYSTEM_BUS_ADDRESS": self.bus})
        end = time.monotonic() + START
        while time.monotonic() < end and self.process.poll() is None:
            with contextlib.suppress(OSError), socket.create_connection(("localhost", self.port), 1):
                return self
            time.sleep(0.02)
        raise AssertionError(f"the printer did not start: {self.log()[-2000:]}")

    def stop(self):
        if self.process is not None:
            self.release()
            self.process.terminate()
            self.process.wait(STOP)
            self.process = None

    def hold(self, lacks=""):
        """Work on the next document without end, and lack something."""
        if lacks:
            (self.folder / "lacks").write_text(lacks)
        (self.folder / "hold").touch()

    def release(self):
        (self.folder / "hold").unlink(missing_ok=True)

    def spoil(self, whether):
        """Have the print engine give up, or not."""
        (self.folder / "spoilt").touch() if whether else (self.folder / "spoilt").unlink()

    def printed(self):
        """Return the bytes of every document that arrived, in the order of the jobs."""
        files = sorted((self.folder / "spool").glob("*.pdf"), key=lambda path: int(path.name.split("-")[0]))
        return [path.read_bytes() for path in files]

    def log(self):
        return (self.folder / "log").read_text(errors="replace")

    def ask_with_ipptool(self, test, below=""):
        """Let another client ask the printer, or its job at the path `below` it: return what `ipptool` prints."""
        return subprocess.run([program("ipptool"), "-tv", self.uri + below, test], capture_output=True, text=True,
                              timeout=60, check=False, env={**os.environ, "LC_ALL": "C.UTF-8"}).stdout
