"""The pages for other computers: over TLS alone, with cookies bound to the host, and without anything that controls."""

import socket
import ssl
from contextlib import ExitStack
from dataclasses import replace
from datetime import timedelta
from ipaddress import ip_address

import httpx
import pytest
from cryptography import x509
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.hashes import SHA256
from cryptography.hazmat.primitives.serialization import (
    BestAvailableEncryption,
    Encoding,
    NoEncryption,
    PrivateFormat,
)
from cryptography.x509.oid import NameOID

from station.cli import program
from station.clock import system_clock
from station.errors import UsageError
from station.screens.access import AT_PANEL, Role
from station.screens.app import PAGES, PANEL_PAGES
from station.screens.demo_people import OPERATOR
from station.screens.plant import load_plant, served_to_plant
from station.screens.server import HOST, MOST_OF_PLANT
from station.simulated.free_port import free_ports

NOW = system_clock().utc()
DAY = timedelta(days=1)
NAMES = (x509.DNSName("station4.varnholt.invalid"), x509.IPAddress(ip_address(HOST)))


def issue(folder, *, names=NAMES, since=NOW - DAY, until=NOW + DAY, password=b"", mode=0o600):
    """Write a certificate and its key, as a plant's authority would hand them over."""
    private = ec.generate_private_key(ec.SECP256R1())
    name = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, "station4.varnholt.invalid")])
    built = (x509.CertificateBuilder().subject_name(name).issuer_name(name).public_key(private.public_key())
             .serial_number(x509.random_serial_number()).not_valid_before(since).not_valid_after(until))
    if names:
        built = built.add_extension(x509.SubjectAlternativeName(names), critical=False)
    folder.mkdir(exist_ok=True)
    certificate, key = folder / "tls.crt", folder / "tls.key"
    certificate.write_bytes(built.sign(private, SHA256()).public_bytes(Encoding.PEM))
    secret = BestAvailableEncryption(password) if password else NoEncryption()
    key.write_bytes(private.private_bytes(Encoding.PEM, PrivateFormat.PKCS8, secret))
    key.chmod(mode)
    return certificate, key


@pytest.fixture(scope="module")
def plant(tested, tmp_path_factory):
    """What the address, and a way to trust it, are for another computer."""
    certificate, key = issue(tmp_path_factory.mktemp("tls"))
    (port,) = free_ports(1)
    with served_to_plant(tested, load_plant(f"{HOST}:{port}", certificate, key, system_clock())):
        yield f"https://{HOST}:{port}", ssl.create_default_context(cafile=str(certificate))


@pytest.fixture
def elsewhere(plant, accounts):
    """Return a function that gives a client on another computer, signed in as a role."""
    address, trust = plant
    opened = []

    def client(role=None):
        one = httpx.Client(base_url=address, headers={"origin": address}, timeout=20, verify=trust)
        opened.append(one)
        if role is not None:
            assert one.post("/sign-in", data=accounts[role]).status_code == 303
        return one

    yield client
    for one in opened:
        one.close()


def test_whatever_tests_allows_or_keeps_is_at_the_panel_alone():
    assert {page.duty for page in PAGES if page not in PANEL_PAGES}.isdisjoint(AT_PANEL)
    assert {page.path for page in PANEL_PAGES} >= {"/line/scan", "/line/withdraw", "/line/leave", "/rig", "/people/add"}


@pytest.mark.parametrize("role", [None, Role.ENGINEER, Role.RELEASER, Role.AUDITOR])
def test_no_page_of_the_panel_exists_elsewhere(elsewhere, role):
    client = elsewhere(role)
    for page in PANEL_PAGES:
        assert client.request("POST" if page.post else "GET", page.path).status_code == 404, page.path
    assert client.get("/line/events").status_code == 404


@pytest.mark.parametrize("role", [Role.OPERATOR, Role.KEEPER])
def test_who_works_at_the_panel_alone_is_sent_there(elsewhere, tested, accounts, role):
    operator = {"name": OPERATOR.name, "password": "an operator's own"}
    if role is Role.OPERATOR:
        tested.people.give(operator["name"], password=operator["password"])
    answer = elsewhere().post("/sign-in", data=accounts.get(role, operator))
    assert answer.status_code == 403
    assert "set-cookie" not in answer.headers
    assert "Go to the station." in answer.text


def test_nothing_is_seen_without_a_sign_in(elsewhere):
    client = elsewhere()
    assert client.get("/").headers["location"] == "/sign-in"
    for page in PAGES:
        if page not in PANEL_PAGES and not page.post and page.path not in ("/", "/sign-in"):
            assert client.get(page.path.replace("{", "").replace("}", "")).status_code == 303, page.path


def test_who_reads_records_reads_them_over_tls_with_a_cookie_bound_to_the_host(elsewhere, accounts):
    client = elsewhere()
    entered = client.post("/sign-in", data=accounts[Role.AUDITOR])
    cookie = entered.headers["set-cookie"]
    assert cookie.startswith("__Host-station=")
    assert {part.strip().lower() for part in cookie.split(";")[1:]} == {"httponly", "path=/", "samesite=strict",
                                                                         "secure"}
    shown = client.get("/tests")
    assert "CP40-0001" in shown.text
    assert shown.headers["strict-transport-security"] == "max-age=31536000"
    assert client.post("/sign-out").status_code == 303
    assert client.get("/tests").status_code == 303


def test_a_session_of_the_panel_is_none_elsewhere(elsewhere, tested, accounts):
    token = tested.sessions.begin(tested.people.by_password(**accounts[Role.AUDITOR]), "here")
    assert elsewhere().get("/tests", headers={"cookie": f"station={token}"}).status_code == 303


def test_neither_plain_http_nor_old_tls_nor_a_foreign_name_is_answered(plant, elsewhere):
    address, _ = plant
    with pytest.raises(httpx.HTTPError):
        httpx.get(address.replace("https", "http"))
    old = ssl.SSLContext(ssl.PROTOCOL_TLS_CLIENT)
    old.check_hostname, old.verify_mode = False, ssl.CERT_NONE
    assert httpx.get(f"{address}/sign-in", verify=old).status_code == 200
    old.set_ciphers("ALL:@SECLEVEL=0")      # so that the client would speak it
    with pytest.warns(DeprecationWarning, match="TLSv1_1"):
        old.maximum_version = ssl.TLSVersion.TLSv1_1
    with pytest.raises(httpx.ConnectError, match=r"(?i)alert|version|protocol"):
        httpx.get(f"{address}/sign-in", verify=old)
    assert elsewhere().get("/sign-in", headers={"host": "elsewhere.invalid"}).status_code == 400
    assert elsewhere().get("/sign-in", headers={"host": "station4.varnholt.invalid"}).status_code == 200


def test_another_site_does_nothing_here_either(elsewhere):
    client = elsewhere(Role.ENGINEER)
    for origin in ("https://elsewhere.invalid", client.headers["origin"].replace("https", "http")):
        assert client.post("/sign-out", headers={"origin": origin}).status_code == 403
    assert client.get("/tests").status_code == 200


@pytest.mark.parametrize(("given", "address", "told"), [
    ({}, "", "other computers are served over TLS alone"),
    ({}, "8443", "that is no address to serve at"),
    ({}, "127.0.0.1:0", "that is no address to serve at"),
    ({}, "127.0.0.1:70000", "that is no address to serve at"),
    ({}, "other.varnholt.invalid:8443", "the certificate is for another host"),
    ({"names": ()}, "0.0.0.0:8443", "the certificate is for another host"),
    ({"until": NOW - DAY / 2}, "0.0.0.0:8443", "the certificate is out of its time"),
    ({"since": NOW + DAY / 2}, "0.0.0.0:8443", "the certificate is out of its time"),
    ({"password": b"secret"}, "0.0.0.0:8443", "certificate and key cannot be used"),
    ({"mode": 0o604}, "0.0.0.0:8443", "everybody on this computer can read the key")])
def test_what_cannot_be_served_safely_is_not_served(tmp_path, given, address, told):
    certificate, key = issue(tmp_path, **given)
    with pytest.raises(UsageError, match=told):
        load_plant(address, certificate, key, system_clock())


def test_a_key_of_another_certificate_and_files_that_are_none(tmp_path):
    certificate, key = issue(tmp_path / "one")
    _, other = issue(tmp_path / "other")
    (tmp_path / "none").write_text("none")
    for pair in ((certificate, other), (tmp_path / "none", key), (certificate, tmp_path / "none"),
                 (certificate, tmp_path / "absent"), (tmp_path / "absent", key)):
        pair[1].touch(0o600) if pair[1].name == "none" else None
        with pytest.raises(UsageError):
            load_plant("0.0.0.0:8443", *pair, system_clock())


def test_a_wildcard_address_is_served_under_the_names_of_the_certificate(tmp_path):
    certificate, key = issue(tmp_path)
    plant = load_plant("0.0.0.0:8443", certificate, key, system_clock())
    assert plant.addresses == ["https://station4.varnholt.invalid:8443/", f"https://{HOST}:8443/"]
    late = replace(system_clock(), utc=lambda: NOW + 2 * DAY)
    with pytest.raises(UsageError, match="out of its time"):
        load_plant("0.0.0.0:8443", certificate, key, late)


def test_the_command_refuses_other_computers_without_a_certificate(tmp_path, capsys):
    folder = tmp_path / "line"
    assert program.run(["setup", str(folder)]) == 0
    assert program.run(["serve", "--station", str(folder / "station.toml"), "--plant", "0.0.0.0:8443"]) == 2
    assert "over TLS alone" in capsys.readouterr().err


def test_however_many_ask_from_the_plant_the_panel_answers(plant, tested_address):
    """Connections that send half a request each, and are never done with it."""
    address, trust = plant
    host, port = address.removeprefix("https://").split(":")
    with ExitStack() as held:
        for _ in range(MOST_OF_PLANT + 6):
            bare = held.enter_context(socket.create_connection((host, int(port)), timeout=20))
            held.enter_context(trust.wrap_socket(bare, server_hostname=host)).sendall(b"GET /sign-in HTTP/1.1\r\nHost:")
        assert httpx.get(f"{tested_address}/sign-in").status_code == 200
        assert httpx.get(f"{address}/sign-in", verify=trust).status_code == 503     # no more are let in
    assert any(httpx.get(f"{address}/sign-in", verify=trust).status_code == 200 for _ in range(50))
