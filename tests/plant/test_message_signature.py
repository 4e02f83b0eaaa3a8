"""Requests signed by stations: whatever is sent is verified, whatever is changed on the way is not."""

import base64

import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from hypothesis import given
from hypothesis import strategies as st

from station.plant.message_signature import Message, require_content, sign, verify
from station.plant.refused import MalformedError, UnsignedError
from station.record.log_key import LogKey

KEY = LogKey("varnholt.example/line-1", Ed25519PrivateKey.from_private_bytes(bytes(range(32))))
OTHER = LogKey("line-2", Ed25519PrivateKey.from_private_bytes(bytes(range(1, 33))))
URL = "http://127.0.0.1:8490/v1/logs/line-1/entries"
NAMES = st.text(st.characters(min_codepoint=33, max_codepoint=126, exclude_characters="+"), min_size=1)


def message_of(headers, method="POST", authority="127.0.0.1:8490", path="/v1/logs/line-1/entries"):
    return Message(method, authority, path, {name.lower(): value for name, value in headers.items()})


def known(*keys):
    return {key.name: key.verifier for key in keys}.get


@given(NAMES, st.binary(max_size=100), st.booleans())
def test_what_is_sent_is_verified(name, content, encoded):
    key = LogKey(name, KEY.private)
    headers = sign("POST", URL, {"Content-Encoding": "gzip"} if encoded else {}, content, key)
    assert verify(message_of(headers), known(key)) == name
    require_content(message_of(headers), content)


@given(st.binary(min_size=1, max_size=100), st.data())
def test_content_that_changes_on_the_way_is_noticed(content, data):
    at = data.draw(st.integers(0, len(content) - 1))
    changed = content[:at] + bytes([content[at] ^ data.draw(st.integers(1, 255))]) + content[at + 1:]
    with pytest.raises(MalformedError, match="not the one that was sent"):
        require_content(message_of(sign("POST", URL, {}, content, KEY)), changed)


@pytest.mark.parametrize("place", [{"method": "PUT"}, {"authority": "127.0.0.1:8491"},
                                   {"path": "/v1/logs/line-2/entries"}])
def test_a_request_is_good_for_one_place_only(place):
    with pytest.raises(UnsignedError, match="not that of a known log"):
        verify(message_of(sign("POST", URL, {}, b"entries", KEY), **place), known(KEY))


def test_another_key_under_the_same_name_is_noticed():
    forged = sign("POST", URL, {}, b"entries", LogKey(KEY.name, OTHER.private))
    with pytest.raises(UnsignedError, match="not that of a known log"):
        verify(message_of(forged), known(KEY, OTHER))


def test_an_encoding_added_on_the_way_is_noticed():
    headers = {**sign("POST", URL, {}, b"entries", KEY), "Content-Encoding": "gzip"}
    with pytest.raises(UnsignedError, match="leaves something open"):
        verify(message_of(headers), known(KEY))


def test_content_needs_a_hash_that_is_signed():
    headers = sign("GET", URL, {}, b"", KEY)
    with pytest.raises(UnsignedError):
        verify(message_of(headers), known(KEY))       # sent as a POST by somebody else
    with pytest.raises(MalformedError):
        require_content(message_of(headers, "GET"), b"entries")


@pytest.mark.parametrize("signed", [
    {}, {"Signature-Input": ""}, {"Signature-Input": "station=()"}, {"Signature-Input": "station"},
    {"Signature-Input": 'station=("@method" "@method" "@authority" "@path");keyid="line-2"'},
    {"Signature-Input": 'one=("@method");keyid="line-2", two=("@method");keyid="line-2"'},
    {"Signature-Input": 'station=("@query");keyid="line-2"', "Signature": "station=:AAAA:"},
    {"Signature-Input": 'station=("@method";req);keyid="line-2"'},
    {"Signature-Input": 'station=("@method");keyid="line-2"', "Signature": "station=AAAA"},
    {"Signature-Input": 'station=("@method");keyid="line-2"', "Signature": "station=:AA!A:"}])
def test_other_forms_are_refused(signed):
    with pytest.raises(UnsignedError) as refused:
        verify(message_of(signed), known(KEY, OTHER), required=())
    assert refused.value.remedy


def test_the_default_port_is_no_part_of_the_authority():
    headers = sign("GET", "https://plant.example:443/v1", {}, b"", KEY)
    assert verify(message_of(headers, "GET", "PLANT.example", "/v1"), known(KEY)) == KEY.name


def test_a_signature_of_another_length_is_refused():
    headers = sign("GET", URL, {}, b"", KEY)
    short = base64.b64encode(b"short").decode()
    with pytest.raises(UnsignedError):
        verify(message_of({**headers, "Signature": f"station=:{short}:"}, "GET"), known(KEY))
