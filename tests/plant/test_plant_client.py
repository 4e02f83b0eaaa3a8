"""What a station makes of a server that is no plant, not the right one, or out of order."""

import subprocess
import threading
from contextlib import closing, contextmanager

import pytest
from served_plant import Sender, served, write_plant

from station.clock import system_clock
from station.listener import bound
from station.plant import plant_client
from station.plant.plant_client import PlantClient, PlantHead, SentFile, SilenceError
from station.plant.refused import (
    AwayError,
    ForkError,
    GapError,
    MalformedError,
    NoRoomError,
    OtherLogError,
    PlantError,
    TooLargeError,
    UnknownLogError,
    UnsignedError,
)
from station.record.log_key import LogKey
from station.record.merkle import EMPTY_ROOT
from station.record.witness import Request
from station.sequence.plant_address import parse_plant_url

CLOCK = system_clock()


@pytest.fixture(scope="module")
def key(tmp_path_factory):
    return LogKey.make(tmp_path_factory.mktemp("keys"), "line/1")


@contextmanager
def answering(*parts, then="close"):
    """A server that reads one request and says `parts`; yields its port and what it was asked."""
    asked = []
    with closing(bound("127.0.0.1", 0)) as listener:
        def serve():
            link, _ = listener.accept()
            with link:
                asked.append(request_on(link))
                for part in parts:
                    link.sendall(part)
                if then == "hang":
                    link.recv(1)
        thread = threading.Thread(target=serve)
        thread.start()
        yield listener.getsockname()[1], asked
        thread.join()


def request_on(link):
    """Head and content of a request."""
    received = b""
    while b"\r\n\r\n" not in received:
        received += link.recv(1 << 16)
    head, _, content = received.partition(b"\r\n\r\n")
    length = next((int(line.partition(b":")[2]) for line in head.split(b"\r\n")
                   if line.lower().startswith(b"content-length:")), 0)
    while len(content) < length:
        content += link.recv(1 << 16)
    return head.decode(), content


def client_at(port, key, path=""):
    return PlantClient(parse_plant_url(f"http://127.0.0.1:{port}{path}"), key, CLOCK)


def answer(status, content, kind="application/json"):
    head = f"HTTP/1.1 {status} Some\r\nContent-Type: {kind}\r\nContent-Length: {len(content)}\r\n\r\n"
    return head.encode() + content


def test_what_is_asked_stands_where_the_station_file_says(key):
    told = b'{"format":1,"origin":"line/1","size":0,"root":"%s","alarm":""}' % EMPTY_ROOT.hex().encode()
    with answering(answer(200, told)) as (port, asked):
        assert client_at(port, key, "/eol").head() == PlantHead(0, EMPTY_ROOT, "")
    (head, content), = asked
    assert head.startswith("GET /eol/v1/logs/line%2F1 HTTP/1.1\r\n")
    assert f"\r\nHost: 127.0.0.1:{port}\r\n" in head
    assert content == b""


@pytest.mark.parametrize("parts", [
    [b""], [b"HTTP/1.1"], [b"HTTP/1.1 200 OK\r\n"], [b"220 mail.example ESMTP\r\n"],
    [answer(200, b"<html>hello</html>", "text/html")], [answer(200, b"{")], [answer(200, b"[]")], [answer(200, b"{}")],
    [answer(200, b'{"size":-1,"root":"","alarm":""}')], [answer(200, b'{"size":true,"root":"00","alarm":""}')],
    [answer(200, b'{"size":1,"root":"%s","alarm":""}' % (b"g" * 64))], [answer(200, b'{"size":1,"root":1,"alarm":""}')],
    [answer(302, b"{}")], [answer(404, b"not here", "text/plain")], [answer(409, b'{"error":"gap"}')],
    [answer(409, b'{"error":"fork"}')], [answer(418, b'{"error":"teapot"}')], [answer(503, b"busy", "text/plain")],
    [answer(200, b'{"size":"' + b"0" * (1 << 20) + b'"}')],
    [answer(200, b'{"size":0,"root":"","alarm":""}')[:-5]],
], ids=range(20))
def test_what_is_no_answer_of_a_plant_is_silence(key, parts):
    with answering(*parts) as (port, _), pytest.raises(SilenceError) as caught:
        client_at(port, key).head()
    assert caught.value.remedy


def test_a_server_that_never_ends_its_answer_is_given_up(key, monkeypatch):
    monkeypatch.setattr(plant_client, "QUESTION", 0.3)
    with answering(answer(200, b"{}")[:-1], then="hang") as (port, _), pytest.raises(SilenceError, match="silence"):
        client_at(port, key).head()


def test_names_that_were_not_asked_for_are_no_answer(key):
    with answering(answer(200, b'{"missing":["../key"]}')) as (port, _), pytest.raises(SilenceError):
        client_at(port, key).missing([SentFile("captures/a", "0" * 64)])


@pytest.mark.parametrize(("status", "word", "kind"), [
    (400, "request", MalformedError), (401, "signature", UnsignedError), (403, "other log", OtherLogError),
    (404, "unknown", UnknownLogError), (413, "size", TooLargeError), (503, "database", AwayError),
    (507, "room", NoRoomError), (500, "plant", PlantError)])
def test_refusals_come_back_in_the_words_of_the_plant(key, status, word, kind):
    told = f'{{"error":"{word}","what":"a","where":"b","expected":"c","got":"d","remedy":"e"}}'.encode()
    with answering(answer(status, told)) as (port, _), pytest.raises(kind) as caught:
        client_at(port, key).head()
    error = caught.value
    assert (error.what, error.where, error.expected, error.got, error.remedy) == ("a", "b", "c", "d", "e")


def test_a_gap_and_a_fork_say_where(key):
    with answering(answer(409, b'{"error":"gap","size":7}')) as (port, _), pytest.raises(GapError) as gap:
        client_at(port, key).send_entries(9, [], Request(9, (), "note"))
    assert gap.value.size == 7
    fork = b'{"error":"fork","size":7,"seq":3,"what":"w","where":"x","expected":"e","got":"g","remedy":"r"}'
    with answering(answer(409, fork)) as (port, _), pytest.raises(ForkError) as caught:
        client_at(port, key).send_entries(9, [], Request(9, (), "note"))
    assert (caught.value.size, caught.value.seq) == (7, 3)


def certificate_for(folder, name):
    """Make a certificate with the program openssl; return it and its key."""
    paths = folder / "tls.crt", folder / "tls.key"
    subprocess.run(["openssl", "req", "-x509", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:P-256", "-nodes",
                    "-days", "2", "-subj", "/CN=plant", "-addext", f"subjectAltName=DNS:{name}", "-out", paths[0],
                    "-keyout", paths[1]], check=True, capture_output=True)
    paths[1].chmod(0o600)
    return paths


def test_over_tls_only_the_trusted_plant_is_spoken_to(plant_address, tmp_path):
    (tmp_path / "works").mkdir()
    file = write_plant(tmp_path / "works", plant_address("sqlite"))
    public, private = certificate_for(tmp_path, "localhost")
    more = f'host = "0.0.0.0"\ncertificate = "{public}"\nkey = "{private}"\n'
    file.write_text(file.read_text().replace("[server]\n", f"[server]\n{more}"))
    with served(file), closing(Sender(tmp_path / "store", file)) as sender:
        def ask(url, trust):
            address = parse_plant_url(url.format(port=sender.plant.port))
            return PlantClient(address, sender.key, CLOCK, trust=trust).head()

        with pytest.raises(UnknownLogError):        # which the plant itself says
            ask("https://localhost:{port}", public)
        with pytest.raises(SilenceError, match="CERTIFICATE_VERIFY_FAILED") as unknown:
            ask("https://localhost:{port}", None)
        assert "trust" in unknown.value.remedy
        with pytest.raises(SilenceError, match="not valid for"):
            ask("https://127.0.0.1:{port}", public)
        with pytest.raises(SilenceError):
            ask("http://localhost:{port}", public)
