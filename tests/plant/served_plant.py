"""A plant whose server is at work, in a thread of the test or in a process of its own that may be killed; and stations.

As a program, `served_plant.py PLANT_FILE`, it starts a server for each line of standard input that says `start`, says
`started` once it listens, and kills it for each that says `kill`.
"""

import os

os.environ["OPENBLAS_NUM_THREADS"] = "1"

import signal
import subprocess
import sys
import threading
from contextlib import closing, contextmanager
from pathlib import Path

from sending_station import SendingStation

from station.clock import system_clock
from station.listener import bound
from station.plant.hand_over import HandOver
from station.plant.plant_client import PlantClient
from station.plant.plant_file import load_plant
from station.plant.server import make_server, opened_desk
from station.record.cosignature import WitnessKey
from station.sequence.plant_address import parse_plant_url
from station.simulated.free_port import free_ports

NAME = "varnholt-works"


def write_plant(folder, database_url):
    """Write the files of a plant whose database is there already; return its plant file."""
    (port,) = free_ports(1)
    WitnessKey.make(folder / "keys", NAME)
    file = folder / "plant.toml"
    file.write_text(f'format = 1\n[plant]\nname = "{NAME}"\n[database]\nurl = "{database_url}"\n'
                    f"[server]\nport = {port}\n")
    return file


def rewrite_database(plant_file, database_url):
    """Give a plant another database, as when it is set back to a backup."""
    text = plant_file.read_text()
    begin = text.index("[database]")
    plant_file.write_text(f'{text[:begin]}[database]\nurl = "{database_url}"\n{text[text.index("[server]"):]}')


@contextmanager
def served(plant_file):
    """Serve a plant in a thread; give what it stands on."""
    plant, clock = load_plant(plant_file), system_clock()
    with opened_desk(plant, clock) as desk, closing(bound(plant.host, plant.port)) as socket:
        server = make_server(desk, plant, clock)
        thread = threading.Thread(target=server.run, kwargs={"sockets": [socket]})
        thread.start()
        try:
            yield desk
        finally:
            server.should_exit = True
            thread.join()


@contextmanager
def mortal_server(plant_file):
    """Give a function that starts a server (`start`) and kills it (`kill`), again and again."""
    words = [sys.executable, "-W", "error", __file__, str(plant_file)]
    with subprocess.Popen(words, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True) as process:
        def do(what):
            process.stdin.write(f"{what}\n")
            process.stdin.flush()
            assert process.stdout.readline() == {"start": "started\n", "kill": "killed\n"}[what]
        yield do
        process.stdin.close()


class Sender(SendingStation):
    """A station that hands over as the product does; `port` is the plant's, or that of what lies in between."""

    def __init__(self, folder, plant_file, origin="line-1", port=None, clock=None):
        super().__init__(folder, origin)
        self.plant = load_plant(plant_file)
        self.witness = WitnessKey.load(self.plant.keys).verifier
        self.clock = clock or system_clock()
        self.port = port or self.plant.port

    def hand_over(self):
        client = PlantClient(parse_plant_url(f"http://127.0.0.1:{self.port}"), self.key, self.clock)
        return HandOver(self.folder, client, self.key, self.witness, self.clock)

    def work(self):
        return self.hand_over().work(lambda: True)


def _serve(plant_file, ready):
    """Serve until killed; say that the address is taken through `ready`."""
    plant, clock = load_plant(plant_file), system_clock()
    with opened_desk(plant, clock) as desk, closing(bound(plant.host, plant.port)) as socket:
        os.write(ready, b"!")
        make_server(desk, plant, clock).run(sockets=[socket])


def _started(plant_file):
    heard, ready = os.pipe()
    child = os.fork()
    if child == 0:
        os.close(heard)
        _serve(plant_file, ready)
        os._exit(0)
    os.close(ready)
    assert os.read(heard, 1) == b"!"
    os.close(heard)
    return child


def _main(plant_file):
    child = None
    for line in sys.stdin:
        if line == "start\n":
            child = _started(plant_file)
            sys.stdout.write("started\n")
        elif child is not None:
            os.kill(child, signal.SIGKILL)
            os.waitpid(child, 0)
            child = None
            sys.stdout.write("killed\n")
        sys.stdout.flush()
    if child is not None:
        os.kill(child, signal.SIGKILL)


if __name__ == "__main__":
    _main(Path(sys.argv[1]))
