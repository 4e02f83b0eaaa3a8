"""Handing over from a real store through a real server into a real database: everything, once, and its receipt."""

import shutil
import sqlite3
from concurrent.futures import ThreadPoolExecutor, wait
from contextlib import closing
from datetime import UTC, datetime, timedelta
from urllib.parse import quote

import numpy as np
import pytest
from sending_station import STARTED, record_of
from served_plant import NAME, Sender, rewrite_database, served, write_plant
from sqlalchemy import func, select
from store_contents import contents

from station.capture import Capture, Channel
from station.clock import Clock, stamp, system_clock
from station.errors import EvidenceError, UsageError
from station.plant import hand_over, hand_over_files, schema
from station.plant.alarms import open_alarms, settle
from station.plant.copying import copy_log
from station.plant.files_handed import FilesHanded
from station.plant.hand_over import Progress
from station.plant.plant_client import PlantClient, SilenceError
from station.plant.refused import ForkError, UnknownLogError, UnsignedError
from station.plant.stations import add_station
from station.record.cosignature import WitnessKey
from station.record.kept_files import keep_file
from station.record.log_key import LogKey
from station.record.retention import Rule
from station.record.schema import DATABASE
from station.record.store import Store
from station.record.witness import acknowledged
from station.sequence.plant_address import parse_plant_url
from station.simulated.free_port import free_ports

AT = datetime(2026, 11, 26, 3, 0, tzinfo=UTC)


@pytest.fixture(scope="module")
def plant_file(kind, plant_address, tmp_path_factory):
    return write_plant(tmp_path_factory.mktemp("plant"), plant_address(kind))


@pytest.fixture(scope="module")
def desk(plant_file):
    with served(plant_file) as opened:
        yield opened


@pytest.fixture
def sender(desk, plant_file, tmp_path, request):
    """A station of its own for each test, which the plant knows."""
    station = Sender(tmp_path / "store", plant_file, f"line/{request.node.name}")
    station.known = add_station(desk.database, str(station.key.verifier), person="U. Rabe", at=AT)
    yield station
    station.close()


def capture(number, size=50):
    codes = np.random.default_rng(number).integers(-9, 9, (1, size)).astype(np.int16)
    return Capture({"v_ab": codes[0]}, {"v_ab": Channel(1e-3)}, 4e-6, 0.0, 157.0, 157.0, 23.0, label="forward 1500")


def done_with(sender, number, days_ago=0):
    """Test a motor with a capture, a transcript, a file in force and a certificate."""
    at = stamp(AT - timedelta(days=days_ago))
    limits = keep_file(sender.folder, f"limits in force at {number}\n".encode())
    record = {**record_of(f"CP40-{number}", started=at), "ended": at, "captures": [{"label": "forward 1500"}],
              "files": [{"kind": "limit file", "name": "CP-40.toml", "sha256": limits}]}
    run_id = sender.store.begin(f"CP40-{number}", started=at)
    stored = sender.store.finish(run_id, record, [capture(number)], b'{"text": "*IDN?"}\n')
    paper = sender.folder / "certificates" / f"CP40-{number}-run1.pdf"
    paper.parent.mkdir(exist_ok=True)
    paper.write_bytes(f"%PDF {number}".encode())
    return stored


def files_in(folder):
    """What there is of files that are handed over, by name."""
    return {str(path.relative_to(folder)): path.read_bytes() for part in ("captures", "files", "certificates")
            for path in sorted((folder / part).glob("*"))}


def archived(sender):
    return files_in(sender.plant.folder / "archive" / quote(sender.key.name, safe=""))


def rows(desk, sender, table=schema.entries):
    with desk.database.reading() as connection:
        return connection.execute(select(func.count()).where(table.c.station == sender.known.number)).scalar()


def alarms(desk, sender):
    with desk.database.reading() as connection:
        return [alarm.what for alarm in open_alarms(connection, sender.known.number)]


def copied(desk, sender, folder):
    copy_log(desk.database, sender.known, sender.witness, folder)
    return contents(folder)


def test_everything_arrives_with_a_receipt_and_what_is_there_is_not_sent_again(desk, sender, tmp_path, monkeypatch):
    monkeypatch.setattr(hand_over, "MOST_ENTRIES", 4)      # several batches even of so few
    monkeypatch.setattr(hand_over_files, "PORTION", 3)
    for number in range(9):
        done_with(sender, number)
    sender.void(sender.store.show("CP40-3")[0])
    seen = []
    assert sender.hand_over().progress() == Progress(10, 0, 0)
    assert sender.hand_over().work(lambda: True, seen.append) == Progress(10, 10, 10)
    assert [one.acknowledged for one in seen[:3]] == [4, 8, 10]
    assert sender.hand_over().progress() == Progress(10, 10, 10)
    assert copied(desk, sender, tmp_path / "copy") == contents(sender.folder)
    assert archived(sender) == files_in(sender.folder)
    assert len(archived(sender)) == 9 * 4
    assert [sender.log.witnessed(size).count(f"— {NAME} ") for size in (4, 8, 10)] == [1, 1, 1]
    calls = []
    monkeypatch.setattr(PlantClient, "send_entries", lambda *words: calls.append(words))
    monkeypatch.setattr(PlantClient, "send_file", lambda *words: calls.append(words))
    assert sender.work() == Progress(10, 10, 10)
    assert calls == []


def test_what_comes_later_follows(desk, sender):
    for number in range(3):
        done_with(sender, number)
        assert sender.work().is_done
        assert archived(sender) == files_in(sender.folder)
    (sender.folder / "certificates" / "CP40-1-run1-issue2.pdf").write_bytes(b"%PDF of another version")
    assert sender.work() == Progress(3, 3, 3)
    assert archived(sender) == files_in(sender.folder)
    (sender.folder / "certificates" / "CP40-1-run1.pdf.tmp").write_bytes(b"half")
    assert "certificates/CP40-1-run1.pdf.tmp" not in archived(sender)


def test_a_certificate_that_comes_after_its_entry_follows(sender):
    passed = [0.0]
    sender.clock = Clock(system_clock().utc, lambda: passed[0], system_clock().pause)
    done_with(sender, 1)
    paper = sender.folder / "certificates" / "CP40-1-run1.pdf"
    content = paper.read_bytes()
    paper.unlink()
    going_on = sender.hand_over()
    assert going_on.work(lambda: True).is_done
    assert f"certificates/{paper.name}" not in archived(sender)
    paper.write_bytes(content)
    assert going_on.work(lambda: True).is_done
    assert archived(sender) == files_in(sender.folder)
    paper.with_name("CP40-1-run1-issue2.pdf").write_bytes(b"%PDF of another version")
    assert going_on.work(lambda: True).is_done
    assert len(archived(sender)) == 4       # nobody looks for another one each time
    passed[0] += hand_over_files.LOOK_BACK
    assert going_on.work(lambda: True).is_done
    assert archived(sender) == files_in(sender.folder)


def test_a_backup_of_the_plant_that_lacks_the_newest_files_gets_them(kind, plant_address, tmp_path):
    (tmp_path / "plant").mkdir()
    plant_file = write_plant(tmp_path / "plant", plant_address(kind))
    with closing(Sender(tmp_path / "store", plant_file)) as sender:
        for address in (None, plant_address(kind)):     # the backup was made after the entries had come
            if address:
                shutil.rmtree(sender.plant.folder / "archive")
                rewrite_database(plant_file, address)
            with served(plant_file) as desk:
                sender.known = add_station(desk.database, str(sender.key.verifier), person="U. Rabe", at=AT)
                if address:
                    desk.intake.take(sender.known, sender.batch(number=sender.known.number), AT)
                else:
                    done_with(sender, 1), done_with(sender, 2)
                assert sender.work() == Progress(2, 2, 2)
            assert archived(sender) == files_in(sender.folder)


def test_a_store_that_is_being_written_is_handed_over_beside(sender):
    done_with(sender, 1)
    run_id = sender.store.begin("CP40-2", started=stamp(AT))
    with ThreadPoolExecutor(1) as beside:
        with sender.store._transaction("a record that takes its time"):
            under_way = beside.submit(sender.work)
            assert wait([under_way], 0.4).not_done      # the receipt waits for it
        assert under_way.result() == Progress(1, 1, 1)
    sender.store.finish(run_id, record_of("CP40-2"), [])
    assert sender.work() == Progress(2, 2, 2)


def test_work_that_is_broken_off_goes_on_where_it_was(desk, sender, monkeypatch):
    monkeypatch.setattr(hand_over, "MOST_ENTRIES", 2)
    for number in range(5):
        done_with(sender, number)
    steps = [True, False]
    assert sender.hand_over().work(lambda: steps.pop(0)) == Progress(5, 4, 0)
    assert rows(desk, sender) == 4
    assert sender.work() == Progress(5, 5, 5)


def test_a_receipt_that_was_lost_is_asked_for_again(desk, sender, tmp_path):
    done_with(sender, 1), done_with(sender, 2)
    empty = sender.image(tmp_path / "image")
    assert sender.work().is_done
    sender.set_back(empty)      # the same log, without the receipt
    assert acknowledged(sender.log, sender.witness) == 0
    assert sender.work().is_done
    assert (rows(desk, sender), rows(desk, sender, schema.heads)) == (2, 1)
    assert alarms(desk, sender) == []


def test_a_plant_set_back_to_a_backup_gets_what_it_lacks(kind, plant_address, tmp_path, monkeypatch):
    monkeypatch.setattr(hand_over_files, "PORTION", 1)     # so that looking back is not enough
    (tmp_path / "plant").mkdir()
    plant_file = write_plant(tmp_path / "plant", plant_address(kind))
    with closing(Sender(tmp_path / "store", plant_file)) as sender:
        with served(plant_file) as desk:
            sender.known = add_station(desk.database, str(sender.key.verifier), person="U. Rabe", at=AT)
            for number in range(3):
                done_with(sender, number)
            assert sender.work().is_done
        shutil.rmtree(sender.plant.folder / "archive")
        rewrite_database(plant_file, plant_address(kind))
        with served(plant_file) as desk:
            add_station(desk.database, str(sender.key.verifier), person="U. Rabe", at=AT)
            done_with(sender, 3)
            assert sender.work() == Progress(4, 4, 4)
            assert (rows(desk, sender), alarms(desk, sender)) == (4, [])
        assert archived(sender) == files_in(sender.folder)


def test_a_store_set_back_to_an_old_image_shows_as_shorter_then_as_a_fork(desk, sender, tmp_path):
    done_with(sender, 1), done_with(sender, 2)
    image = sender.image(tmp_path / "image")
    done_with(sender, 3), done_with(sender, 4)
    sender.work()
    before = copied(desk, sender, tmp_path / "copy")
    sender.set_back(image)
    for _ in range(2):          # told once, however often it is said
        with pytest.raises(ForkError, match=r"set back"):
            sender.work()
        assert alarms(desk, sender) == ["shorter"]
    for number in (5, 6, 7):    # as many as before, one more, and a motor that was tested twice
        done_with(sender, number)
        with pytest.raises(ForkError):
            sender.work()
    assert "fork" in alarms(desk, sender)
    assert copied(desk, sender, tmp_path / "copy") == before
    assert rows(desk, sender) == 4
    assert Sender.hand_over(sender).progress().acknowledged == 0


def test_a_store_begun_anew_under_the_old_key_is_told(desk, sender):
    done_with(sender, 1)
    sender.work()
    sender.close()
    shutil.rmtree(sender.folder)
    sender.open()
    with pytest.raises(ForkError):
        sender.work()
    assert alarms(desk, sender) == ["shorter"]


def test_what_somebody_must_settle_is_told_until_they_have(desk, sender, tmp_path):
    done_with(sender, 1)
    image = sender.image(tmp_path / "image")
    done_with(sender, 2)
    sender.work()
    whole = sender.image(tmp_path / "whole")
    sender.set_back(image)
    with pytest.raises(ForkError):
        sender.work()
    sender.set_back(whole)      # the disk was found again
    assert "shorter" in sender.work().alarm
    with desk.database.reading() as connection:
        number = open_alarms(connection, sender.known.number)[0].number
    settle(desk.database, number, person="R. Fink", reason="a backup was tried out", at=AT)
    assert sender.work() == Progress(2, 2, 2)


@pytest.mark.parametrize("years", [-30, 30])
def test_clocks_decide_nothing(desk, sender, years):
    def wrong():
        return datetime.now(UTC) + timedelta(days=365 * years)
    sender.clock = Clock(wrong, system_clock().monotonic, system_clock().pause)
    for number, at in enumerate((0, 365 * years, -365 * years, 1)):     # each test at a time of its own
        done_with(sender, number, days_ago=at)
    assert sender.work() == Progress(4, 4, 4)
    assert rows(desk, sender) == 4


def test_a_file_that_was_altered_holds_up_no_other_and_is_sent_once_it_is_mended(sender, monkeypatch):
    monkeypatch.setattr(hand_over_files, "PORTION", 1)
    for number in range(3):
        done_with(sender, number)
    broken = sender.folder / "captures" / "run-000002-1-forward-1500.parquet"
    sound = broken.read_bytes()
    broken.write_bytes(sound + b"!")
    assert sender.work() == Progress(3, 3, 3, left=1)
    assert {f"captures/{broken.name}": "file of a record was altered"} == {
        name: why.partition(":")[0] for name, why in sender.hand_over().why_left().items()}
    broken.unlink()
    assert sender.work() == Progress(3, 3, 3, left=1)
    broken.write_bytes(sound)
    assert sender.work() == Progress(3, 3, 3)
    assert archived(sender) == files_in(sender.folder)


def test_an_entry_that_was_altered_in_the_store_is_told_and_not_sent(desk, sender):
    for number in range(4):
        done_with(sender, number)
    with closing(sqlite3.connect(sender.folder / DATABASE)) as connection:
        connection.executescript("DROP TRIGGER records_update; UPDATE records SET body = x'7b7d' WHERE run_id = 3;")
    for _ in range(2):
        with pytest.raises(EvidenceError, match="body of an entry was altered"):
            sender.work()
        assert sender.hand_over().progress().acknowledged == rows(desk, sender) == 2
    assert alarms(desk, sender) == []


def test_captures_that_a_rule_has_removed_are_left_out(sender):
    old = done_with(sender, 1, days_ago=50)
    done_with(sender, 2)
    removal, = sender.store.removals_due([Rule("PASS", 30)], AT)
    sender.store.remove(removal, person="K. Amsel", at=stamp(AT))
    assert sender.work() == Progress(3, 3, 3)
    assert old["captures"][0]["file"] not in archived(sender)
    assert archived(sender) == files_in(sender.folder)


def test_a_receipt_of_another_witness_is_none(desk, sender, tmp_path):
    done_with(sender, 1)
    sender.witness = WitnessKey.make(tmp_path / "other", NAME).verifier
    with pytest.raises(EvidenceError, match="signed by no known key"):
        sender.work()
    assert acknowledged(sender.log, sender.witness) == 0


def test_who_is_not_known_or_signs_with_another_key_hands_over_nothing(desk, sender, plant_file, tmp_path):
    done_with(sender, 1)
    stranger = Sender(tmp_path / "stranger", plant_file, "line-of-nobody")
    stranger.fill(1)
    with closing(stranger), pytest.raises(UnknownLogError):
        stranger.work()
    impostor = LogKey.make(tmp_path / "impostor", sender.key.name)
    with pytest.raises(UnsignedError):
        PlantClient(parse_plant_url(f"http://127.0.0.1:{sender.port}"), impostor, sender.clock).head()
    assert rows(desk, sender) == 0


def test_two_do_not_hand_over_at_once(sender):
    done_with(sender, 1)
    with (FilesHanded(sender.folder, sender.witness) as handed, handed.work(),
          pytest.raises(UsageError, match="another process hands over")):
        sender.work()
    assert sender.work().is_done


def test_a_log_from_before_there_was_a_key_goes_in_one_up_to_its_first_signed_head(desk, sender, tmp_path, monkeypatch):
    monkeypatch.setattr(hand_over, "MOST_ENTRIES", 2)
    begun_without_key(sender, 5)
    done_with(sender, 1)
    done_with(sender, 2)
    assert sender.work() == Progress(7, 7, 7)
    assert copied(desk, sender, tmp_path / "copy") == contents(sender.folder)
    assert [bool(entry.checkpoint) for entry in sender.log.entries()] == [False] * 5 + [True] * 2


def test_heads_from_before_there_was_a_key_are_signed_on_their_way_where_there_are_many(desk, sender, monkeypatch):
    monkeypatch.setattr(hand_over, "MOST_ENTRIES", 2)
    monkeypatch.setattr(hand_over, "MOST_UNSIGNED", 4)
    begun_without_key(sender, 6)
    assert sender.work() == Progress(6, 6, 6)
    assert rows(desk, sender, schema.heads) == 2
    assert not any(entry.checkpoint for entry in sender.log.entries())


def begun_without_key(sender, count):
    """Give a station a store whose first entries nobody has signed."""
    sender.close()
    shutil.rmtree(sender.folder)
    with Store(sender.folder, origin=sender.key.name) as unsigned:
        for number in range(count):
            unsigned.finish(unsigned.begin(f"A{number}", started=STARTED), record_of(f"A{number}"), [])
    sender.open()


def test_a_plant_that_cannot_be_reached_is_told_and_changes_nothing(sender):
    done_with(sender, 1)
    sender.port, = free_ports(1)
    with pytest.raises(SilenceError, match="cannot be reached"):
        sender.work()
    assert sender.hand_over().progress() == Progress(1, 0, 0)
