"""A server of PostgreSQL, Debian's own, in a folder of its own: no system service, gone when its test is.

As root it refuses to run, so that it then runs as the user `postgres` that its package makes.
"""

import contextlib
import os
import shutil
import subprocess
import tempfile
from pathlib import Path

from station.simulated.free_port import free_ports

PROGRAMS = Path("/usr/lib/postgresql")      # Debian keeps one folder a version
START = 60      # s


def program(name):
    found = sorted(PROGRAMS.glob(f"*/bin/{name}"), key=lambda path: int(path.parent.parent.name))
    assert found, f"{name} is missing: run tests/run, which installs what tests/environment names"
    return str(found[-1])


class RealServer:
    """`start` and `stop` it; databases of it are at `url(name)`. Off until started; its port stays the same."""

    def __init__(self, folder):
        self.folder = Path(folder)
        (self.port,) = free_ports(1)
        self.made = 0
        if os.geteuid() == 0:
            shutil.chown(folder, "postgres")
        self._run("initdb", "-A", "trust", "-U", "writer", "--no-locale", "-E", "UTF8")

    def start(self):
        options = f"-p {self.port} -c listen_addresses=127.0.0.1 -c unix_socket_directories={self.folder} " \
                  "-c max_connections=100 -c shared_buffers=64MB"
        self._run("pg_ctl", "-w", "-t", str(START), "-l", str(self.folder / "log"), "-o", options, "start")

    def stop(self, how="fast"):
        """Stop it: "fast" ends its clients, "immediate" is as good as a crash."""
        self._run("pg_ctl", "-m", how, "stop")

    def new_database(self, template="template1"):
        """Make another database, as a copy of one that nobody uses, and return its address."""
        self.made += 1
        name = f"plant{self.made}"
        self.sql(f"CREATE DATABASE {name} TEMPLATE {template}")
        return self.url(name)

    @contextlib.contextmanager
    def database_on(self, disk):
        """Give the address of a database whose tables lie on a disk, as long as it is there."""
        self.made += 1
        folder = Path(disk) / f"tables{self.made}"
        folder.mkdir(mode=0o700)
        for above in (disk, *Path(disk).parents):
            if not above.stat().st_mode & 0o001:
                above.chmod(above.stat().st_mode | 0o001)       # it may go through, and no more
        if os.geteuid() == 0:
            shutil.chown(folder, "postgres")
        self.sql(f"CREATE TABLESPACE disk_of_plant{self.made} LOCATION '{folder}'")
        name = f"plant{self.made}"
        self.sql(f"CREATE DATABASE {name} TABLESPACE disk_of_{name}")
        try:
            yield self.url(name)
        finally:
            self.sql(f"DROP DATABASE {name} WITH (FORCE)")
            self.sql(f"DROP TABLESPACE disk_of_{name}")

    def url(self, database, user="writer"):
        return f"postgresql://{user}@127.0.0.1:{self.port}/{database}"

    def sql(self, command, database="postgres"):
        """Carry out a command by the client that comes with the server; return what it prints."""
        words = [program("psql"), "-X", "-q", "-t", "-A", "-v", "ON_ERROR_STOP=1", "-c", command,
                 self.url(database)]
        return subprocess.run(words, check=True, capture_output=True, text=True).stdout

    def _run(self, name, *words):
        as_user = ["runuser", "-u", "postgres", "--"] if os.geteuid() == 0 else []
        with (self.folder.with_suffix(".out")).open("a") as told:
            done = subprocess.run([*as_user, program(name), "-D", str(self.folder), *words], stdin=subprocess.DEVNULL,
                                  stdout=told, stderr=told, cwd="/", check=False)
        assert done.returncode == 0, self.folder.with_suffix(".out").read_text()


@contextlib.contextmanager
def running():
    """Run a server and give it; its folder lies outside of pytest's, which only their owner may enter."""
    with tempfile.TemporaryDirectory(prefix="pg-") as above:
        Path(above).chmod(0o755)
        folder = Path(above) / "data"
        folder.mkdir(mode=0o700)
        server = RealServer(folder)
        server.start()
        try:
            yield server
        finally:
            with contextlib.suppress(AssertionError):   # a test may have stopped it
                server.stop("immediate")
