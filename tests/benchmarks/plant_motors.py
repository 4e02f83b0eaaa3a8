"""What whole motors cost on their way to the plant and into its copy: records, captures, transcripts, certificates."""

import sys
from datetime import datetime
from pathlib import Path
from time import process_time

import numpy as np
from figures import Figure
from plant_rows import processor_time

sys.path.insert(0, str(Path(__file__).parents[1] / "plant"))

from served_plant import mortal_server, write_plant

from station.clock import system_clock
from station.plant.copies import Copies
from station.plant.database import Database
from station.plant.hand_over import HandOver
from station.plant.plant_client import PlantClient
from station.plant.plant_file import load_plant
from station.plant.stations import add_station
from station.record.cosignature import WitnessKey
from station.record.log_key import LogKey
from station.sequence.plant_address import parse_plant_url
from station.sequence.station_file import load_station


def on_their_way(folder: Path, line: Path, database: Database, address: str, at: datetime) -> list[Figure]:
    """Hand a population in the folder `line` over as it is, then again, and copy it at the plant."""
    folder.mkdir()
    plant_file = write_plant(folder, address.replace("+psycopg", ""))
    station, plant, clock = load_station(line / "station.toml"), load_plant(plant_file), system_clock()
    assert station.keys is not None
    key = LogKey.load(station.keys)
    add_station(database, str(key.verifier), person="U. Rabe", at=at)
    client = PlantClient(parse_plant_url(f"http://127.0.0.1:{plant.port}"), key, clock)
    hand_over = HandOver(station.store, client, key, WitnessKey.load(plant.keys).verifier, clock)
    with mortal_server(plant_file) as do:
        do("start")
        times = [process_time()]
        for _ in range(2):
            progress = hand_over.work(lambda: True)
            times.append(process_time())
    began = processor_time(database)
    copied = Copies(database, plant).bring_up_to_date(key.verifier.name)
    copying, (sent, again) = processor_time(database) - began, np.diff(times)
    waiting = progress.entries - progress.files + progress.left
    return [Figure("entries whose files are not handed over, and such files", waiting, most=0),
            Figure("entries not copied", progress.entries - copied.entries, most=0),
            Figure("handing over, at the station, processor time a motor", 1e3 * sent / progress.entries, unit="ms"),
            Figure("a round in which nothing is new, processor time", 1e3 * again, unit="ms"),
            Figure("copying at the plant, processor time a motor", 1e3 * copying / copied.entries, unit="ms")]
