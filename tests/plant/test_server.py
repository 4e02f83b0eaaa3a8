"""The plant's server over real sockets: who may ask what, and what is answered."""

import gzip
import hashlib
import json
import socket
import ssl
import subprocess
from contextlib import closing
from dataclasses import replace
from urllib.parse import quote

import httpx
import pytest
from asking import Asker
from sending_station import SendingStation
from sqlalchemy import func, select

from station.clock import system_clock
from station.errors import UsageError
from station.listener import bound, running
from station.plant import schema
from station.plant.asked import MOST_SENT, MOST_UNPACKED
from station.plant.message_signature import sign
from station.plant.server import make_server
from station.plant.stations import add_station, end_station
from station.record.cosignature import load_witness
from station.record.log_key import LogKey
from station.record.signed_note import parse_note, verify_note
from station.simulated.free_port import free_ports

PARTS = ("error", "what", "where", "expected", "got", "remedy")


@pytest.fixture(scope="module")
def desk(plant, serving):
    with serving(plant) as opened:
        yield opened


@pytest.fixture
def sender(tmp_path, desk, new_origin):
    station = SendingStation(tmp_path / "store", new_origin()).fill(3)
    add_station(desk.database, str(station.key.verifier), person="U. Rabe", at=system_clock().utc())
    yield station
    station.close()


@pytest.fixture
def asker(plant, sender):
    return Asker(plant, sender.key)


def refused(answer, status, word):
    assert answer.status_code == status, answer.text
    told = answer.json()
    assert told["error"] == word
    assert all(isinstance(told[part], str) and told[part] for part in PARTS)
    return told


def count(desk, table, sender):
    own = select(schema.stations.c.station).where(schema.stations.c.origin == sender.key.name).scalar_subquery()
    with desk.database.reading() as connection:
        return connection.execute(select(func.count()).select_from(table).where(table.c.station == own)).scalar()


def test_a_log_is_handed_over_and_cosigned(plant, asker, sender):
    assert asker.ask("GET").json() == {"format": 1, "origin": sender.key.name, "size": 0, "alarm": "",
                                       "root": hashlib.sha256(b"").hexdigest()}
    told = asker.post(sender.content()).json()
    note = sender.log.checkpoint(3) + told["cosignature"]
    assert verify_note(parse_note(note, "plant"), [load_witness(plant.keys / "witness.pub")], "plant")
    assert asker.ask("GET").json()["root"] == sender.log.head().root.hex()
    sender.fill(4)
    assert asker.post(sender.content(3), packed=True).json()["size"] == 7


def test_only_the_station_itself_hands_over_its_log(desk, asker, sender, new_origin, tmp_path):
    stranger = LogKey.make(tmp_path / "stranger", "stranger")
    other = LogKey.make(tmp_path / "other", new_origin())
    add_station(desk.database, str(other.verifier), person="U. Rabe", at=system_clock().utc())
    content = sender.content()
    refused(asker.ask("POST", "/entries", content, key=stranger), 404, "unknown")
    refused(asker.ask("POST", "/entries", content, key=other), 403, "other log")
    refused(asker.ask("POST", "/entries", content, key=LogKey(sender.key.name, other.private)), 401, "signature")
    refused(httpx.post(f"{asker.base}{asker.log}/entries", content=content), 401, "signature")
    assert count(desk, schema.entries, sender) == 0


def test_of_a_log_that_has_ended_nothing_more_is_taken(desk, asker, sender):
    asker.post(sender.content())
    end_station(desk.database, sender.key.name, person="U. Rabe", reason="key stolen", at=system_clock().utc())
    sender.fill(1)
    for answer in (asker.post(sender.content(3)), asker.ask("GET"), asker.put("captures/a", b"")):
        assert "key stolen" in refused(answer, 404, "unknown")["got"]
    assert count(desk, schema.entries, sender) == 3
    with pytest.raises(UsageError, match="ended already"):
        end_station(desk.database, sender.key.name, person="U. Rabe", reason="again", at=system_clock().utc())


def test_what_is_changed_on_the_way_is_not_taken(desk, asker, sender):
    content = sender.content()
    url = f"{asker.base}{asker.log}/entries"
    signed = sign("POST", url, {}, content, sender.key)
    changed = content.replace(b"PASS", b"FAIL", 1)
    refused(httpx.post(url, content=changed, headers=signed), 400, "request")
    refused(asker.ask("POST", "/entries", content, changed={"Content-Digest": "sha-256=:AAAA:"}), 401, "signature")
    refused(asker.ask("POST", "/entries", content, changed={"Content-Encoding": "gzip"}), 401, "signature")
    assert count(desk, schema.entries, sender) == 0


def test_gap_and_fork_are_told_with_the_size_of_the_copy(asker, sender, tmp_path):
    told = refused(asker.post(sender.content(2)), 409, "gap")
    assert told["size"] == 0
    asker.post(sender.content())
    twin = SendingStation(tmp_path / "twin", key=sender.key).fill(3, "VB24-")
    told = refused(asker.post(twin.content()), 409, "fork")
    twin.close()
    assert (told["size"], told["seq"]) == (3, 0)
    assert "another than was handed over" in asker.ask("GET").json()["alarm"]


def test_files_are_kept_once_under_their_names(plant, asker, sender):
    name, content = "captures/run-000001-1-forward 1500.parquet", b"waveforms"
    sha256 = hashlib.sha256(content).hexdigest()
    assert asker.missing({name: sha256, "files/ab": sha256}).json() == {"missing": [name, "files/ab"]}
    packed = asker.put(name, gzip.compress(content), headers={"Content-Encoding": "gzip"})
    assert [packed.status_code, asker.put(name, content).status_code] == [201, 200]
    assert asker.missing({name: sha256, "files/ab": sha256}).json() == {"missing": ["files/ab"]}
    kept = plant.folder / "archive" / sender.key.name.replace("/", "%2F") / name
    assert kept.read_bytes() == content
    refused(asker.put(name, b"other waveforms"), 409, "fork")
    assert kept.read_bytes() == content
    assert asker.missing({name: hashlib.sha256(b"other waveforms").hexdigest()}).json() == {"missing": [name]}
    assert "another content" in asker.ask("GET").json()["alarm"]


@pytest.mark.parametrize("name", ["../plant.toml", "captures/../../keys", "captures//a", "/etc/passwd", ".hidden",
                                  "captures/.a.tmp", "a\\b", "a\nb", "x" * 401, "captures/"])
def test_no_name_leads_out_of_the_archive(plant, desk, asker, sender, name):
    sha256 = hashlib.sha256(b"").hexdigest()
    refused(asker.missing({name: sha256}), 400, "request")
    hidden = "".join(f"%{one:02X}" for one in name.encode())
    refused(asker.ask("PUT", f"/files/{hidden}"), 400, "request")
    assert count(desk, schema.files, sender) == 0
    assert not (plant.folder / "archive" / sender.key.name.replace("/", "%2F")).exists()


@pytest.mark.parametrize(("method", "path"), [
    ("GET", "/entries"), ("PUT", ""), ("DELETE", ""), ("POST", "/files/a"), ("GET", "/files/a"), ("POST", "/else"),
    ("GET", "?size=1")])
def test_there_are_no_other_addresses(asker, method, path):
    refused(asker.ask(method, path), 400, "request")


def test_more_than_is_taken_at_once_is_refused(asker):
    refused(asker.ask("POST", "/entries", bytes(MOST_SENT + 1)), 413, "size")
    packed = gzip.compress(bytes(MOST_UNPACKED + 1), 1)
    refused(asker.ask("POST", "/entries", packed, headers={"Content-Encoding": "gzip"}), 413, "size")


def test_content_that_is_not_packed_as_it_says_is_refused(desk, asker, sender):
    packed = gzip.compress(sender.content())
    for content in (b"", b"no gzip", packed[:-1], packed + b"more", packed + packed):
        refused(asker.ask("POST", "/entries", content, headers={"Content-Encoding": "gzip"}), 400, "request")
    refused(asker.ask("POST", "/entries", packed, headers={"Content-Encoding": "br"}), 400, "request")
    assert count(desk, schema.entries, sender) == 0


@pytest.mark.parametrize("content", [b"", b"[]", b'{"format":1}', b'{"format":1,"files":[{"name":"a"}]}'])
def test_what_is_no_question_is_refused(asker, content):
    refused(asker.ask("POST", "/files/missing", content), 400, "request")


def test_a_station_that_is_gone_before_its_request_is_whole_leaves_nothing(plant, desk, asker, sender):
    content = sender.content()
    signed = sign("POST", f"{asker.base}{asker.log}/entries", {}, content, sender.key)
    head = "".join(f"{name}: {value}\r\n" for name, value in signed.items())
    with socket.create_connection((plant.host, plant.port)) as wire:
        wire.sendall(f"POST {asker.log}/entries HTTP/1.1\r\nHost: {plant.host}:{plant.port}\r\n{head}"
                     f"Content-Length: {len(content)}\r\n\r\n".encode() + content[:-1])
    assert asker.size() == 0
    assert asker.post(content).status_code == 200


def test_other_computers_ask_over_tls_alone(plant, desk):
    with pytest.raises(UsageError, match="TLS alone"):
        make_server(desk, replace(plant, host="0.0.0.0"), system_clock())


def certificate(folder):
    """Make a certificate for this computer with the program openssl; return it and its key."""
    paths = folder / "tls.crt", folder / "tls.key"
    subprocess.run(["openssl", "req", "-x509", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:P-256", "-nodes",
                    "-days", "2", "-subj", "/CN=plant", "-addext", "subjectAltName=IP:127.0.0.1", "-out", paths[0],
                    "-keyout", paths[1]], check=True, capture_output=True)
    return paths


def test_a_log_is_handed_over_by_tls(plant, desk, sender, tmp_path):
    public, private = certificate(tmp_path)
    (port,) = free_ports(1)
    over_tls = replace(plant, port=port, certificate=public, key=private)
    with closing(bound(over_tls.host, port)) as listening, running(
            make_server(desk, over_tls, system_clock()), listening):
        url = f"https://127.0.0.1:{port}/v1/logs/{quote(sender.key.name, safe='')}/entries"
        content, trust = sender.content(), ssl.create_default_context(cafile=public)
        answer = httpx.post(url, content=content, headers=sign("POST", url, {}, content, sender.key), verify=trust)
        assert (answer.status_code, answer.json()["size"]) == (200, 3)
        with pytest.raises(httpx.ConnectError, match="verif"):
            httpx.get(url, verify=ssl.create_default_context())
        with pytest.raises(httpx.RemoteProtocolError):
            httpx.get(url.replace("https:", "http:"))


def test_answers_are_json_whatever_is_sent(asker):
    for content in (b"\xff", json.dumps({"format": 1, "first": 2**70, "entries": [], "request": ""}).encode()):
        refused(asker.ask("POST", "/entries", content), 400, "request")
