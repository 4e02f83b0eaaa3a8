"""station.certificate.ipp_message against the examples of RFC 8010, then whatever can be written comes back.

The octets are those of appendix A of RFC 8010 as two public test suites of other programs hold them alike.
"""

from datetime import UTC, datetime, timedelta, timezone

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from station.certificate.ipp_message import Attribute, Group, GroupTag, Message, Value, attribute, decode, encode
from station.certificate.ipp_values import InLanguage, Range, Resolution, Tag
from station.errors import PrinterError

PINETREE = "ipp://printer.example.com/ipp/print/pinetree"
OPENING = ("01" "470012617474726962757465732d6368617273657400057574662d38"
           "48001b617474726962757465732d6e61747572616c2d6c616e67756167650005656e2d7573")
TO_PINETREE = OPENING + ("45000b7072696e7465722d757269002c6970703a2f2f7072696e7465722e6578616d706c652e636f6d2f6970702f"
                         "7072696e742f70696e6574726565")
FIRST = (attribute("attributes-charset", Tag.CHARSET, "utf-8"),
         attribute("attributes-natural-language", Tag.LANGUAGE, "en-us"))
OPERATION, JOB, UNSUPPORTED = GroupTag.OPERATION, GroupTag.JOB, GroupTag.UNSUPPORTED


def to_pinetree(*attributes):
    return Group(OPERATION, (*FIRST, attribute("printer-uri", Tag.URI, PINETREE), *attributes))


def answer(status_message, *groups):
    return (Group(OPERATION, (*FIRST, attribute("status-message", Tag.TEXT, status_message))), *groups)


MEDIA = Attribute("media-col", (Value(Tag.BEGIN_COLLECTION, (
    Attribute("media-size", (Value(Tag.BEGIN_COLLECTION, (
        attribute("x-dimension", Tag.INTEGER, 21000), attribute("y-dimension", Tag.INTEGER, 29700))),)),
    attribute("media-type", Tag.KEYWORD, "stationery"))),))

PUBLISHED = {
    "A.1 Print-Job request": (
        "0101000200000001" + TO_PINETREE + "4200086a6f622d6e616d650006666f6f626172"
        "2200166970702d6174747269627574652d666964656c697479000101" "02" "210006636f70696573000400000014"
        "44000573696465730013" "74776f2d73696465642d6c6f6e672d65646765" "03" "2521504446",
        Message(0x0002, 1, (
            to_pinetree(attribute("job-name", Tag.NAME, "foobar"),
                        attribute("ipp-attribute-fidelity", Tag.BOOLEAN, True)),
            Group(JOB, (attribute("copies", Tag.INTEGER, 20),
                        attribute("sides", Tag.KEYWORD, "two-sided-long-edge")))), b"%!PDF")),
    "A.4 success with attributes ignored": (
        "0101000100000001" + OPENING + "41000e7374617475732d6d657373616765002f7375636365737366756c2d6f6b2d69676e6f7265"
        "642d6f722d73756273746974757465642d61747472696275746573" "05" "210006636f70696573000400000014"
        "100005736964657300000" "2" "2100066a6f622d6964000400000093"
        "4500076a6f622d7572690030" + (PINETREE + "/147").encode().hex() + "2300096a6f622d737461746500040000000303",
        Message(0x0001, 1, answer(
            "successful-ok-ignored-or-substituted-attributes",
            Group(UNSUPPORTED, (attribute("copies", Tag.INTEGER, 20), attribute("sides", Tag.UNSUPPORTED, None))),
            Group(JOB, (attribute("job-id", Tag.INTEGER, 147), attribute("job-uri", Tag.URI, PINETREE + "/147"),
                        attribute("job-state", Tag.ENUM, 3)))))),
    "A.7 Create-Job request with a collection": (
        "0101000500000001" + TO_PINETREE + "3400096d656469612d636f6c0000" "4a0000000a6d656469612d73697a65" "3400000000"
        "4a0000000b782d64696d656e73696f6e" "210000000400005208" "4a0000000b792d64696d656e73696f6e"
        "210000000400007404" "3700000000" "4a0000000a6d656469612d74797065" "440000000a73746174696f6e657279"
        "3700000000" "03",
        Message(0x0005, 1, (to_pinetree(MEDIA),))),
    "A.8 Get-Jobs request": (
        "0101000a0000007b" + TO_PINETREE + "2100056c696d6974000400000032"
        "4400147265717565737465642d6174747269627574657300066a6f622d6964" "44000000086a6f622d6e616d65"
        "440000000f646f63756d656e742d666f726d6174" "03",
        Message(0x000A, 123, (to_pinetree(
            attribute("limit", Tag.INTEGER, 50),
            attribute("requested-attributes", Tag.KEYWORD, "job-id", "job-name", "document-format")),))),
    "A.9 Get-Jobs response": (
        "010100000000007b" + OPENING + "41000e7374617475732d6d657373616765000d7375636365737366756c2d6f6b"
        "02" "2100066a6f622d6964000400000093" "3600086a6f622d6e616d65000c000566722d63610003666f75"
        "02" "02" "2100066a6f622d6964000400000094" "3600086a6f622d6e616d650012000564652d434800096973636820677565"
        "74" "03",
        Message(0x0000, 123, answer(
            "successful-ok",
            Group(JOB, (attribute("job-id", Tag.INTEGER, 147),
                        attribute("job-name", Tag.NAME_WITH_LANGUAGE, InLanguage("fr-ca", "fou")))),
            Group(JOB, ()),
            Group(JOB, (attribute("job-id", Tag.INTEGER, 148),
                        attribute("job-name", Tag.NAME_WITH_LANGUAGE, InLanguage("de-CH", "isch guet"))))))),
}


@pytest.mark.parametrize("name", PUBLISHED)
def test_published_octets(name):
    octets, message = PUBLISHED[name]
    assert encode(message).hex() == octets
    assert decode(bytes.fromhex(octets)) == message


def test_what_a_group_says():
    jobs = PUBLISHED["A.9 Get-Jobs response"][1].groups[1:]
    assert [group.first("job-id") for group in jobs] == [147, None, 148]
    assert [group.first("job-name") for group in jobs] == ["fou", None, "isch guet"]
    request = PUBLISHED["A.8 Get-Jobs request"][1].group(OPERATION)
    assert request.contents("requested-attributes") == ("job-id", "job-name", "document-format")
    assert PUBLISHED["A.8 Get-Jobs request"][1].group(JOB).contents("job-id") == ()


INTEGERS = st.integers(-(1 << 31), (1 << 31) - 1)
TEXTS = st.text(max_size=40)
NAMES = st.sampled_from(["media-col", "x", "job-state-reasons", "printer-uri", "a" * 255])
ZONES = st.integers(-14 * 60, 14 * 60).map(lambda minutes: timezone(timedelta(minutes=minutes)) if minutes else UTC)
MOMENTS = st.builds(lambda moment, tenths: moment.replace(microsecond=tenths * 100_000),
                    st.datetimes(timezones=ZONES, allow_imaginary=False), st.integers(0, 9))
VALUES = st.one_of(
    st.builds(Value, st.sampled_from([Tag.INTEGER, Tag.ENUM]), INTEGERS),
    st.builds(Value, st.just(Tag.BOOLEAN), st.booleans()),
    st.builds(Value, st.sampled_from([Tag.UNSUPPORTED, Tag.UNKNOWN, Tag.NO_VALUE]), st.none()),
    st.builds(Value, st.sampled_from([Tag.OCTETS, 0x7F, 0x15]), st.binary(max_size=40)),
    st.builds(Value, st.just(Tag.DATE_TIME), MOMENTS),
    st.builds(Value, st.just(Tag.RESOLUTION), st.builds(Resolution, INTEGERS, INTEGERS, st.sampled_from([3, 4]))),
    st.builds(Value, st.just(Tag.RANGE), st.builds(Range, INTEGERS, INTEGERS)),
    st.builds(Value, st.sampled_from([Tag.TEXT_WITH_LANGUAGE, Tag.NAME_WITH_LANGUAGE]),
              st.builds(InLanguage, st.sampled_from(["de", "en-us"]), TEXTS)),
    st.builds(Value, st.sampled_from([Tag.TEXT, Tag.NAME, Tag.KEYWORD, Tag.URI, Tag.URI_SCHEME, Tag.CHARSET,
                                      Tag.LANGUAGE, Tag.MIME_TYPE]), TEXTS))


def attributes_of(values):
    return st.lists(st.builds(Attribute, NAMES, st.lists(values, min_size=1, max_size=3).map(tuple)), max_size=3).map(
        tuple)


ANY = st.recursive(VALUES, lambda inner: st.builds(Value, st.just(Tag.BEGIN_COLLECTION), attributes_of(inner)),
                   max_leaves=4)
MESSAGES = st.builds(
    Message, st.integers(0, 0xFFFF), INTEGERS,
    st.lists(st.builds(Group, st.sampled_from([1, 2, 4, 5, 9]), attributes_of(ANY)), max_size=3).map(tuple),
    st.binary(max_size=20), st.tuples(st.integers(0, 2), st.integers(0, 2)))


@settings(max_examples=60, deadline=None)
@given(MESSAGES)
def test_what_was_written_comes_back(message):
    assert decode(encode(message)) == message


@pytest.mark.parametrize("name", list(PUBLISHED)[1:])
def test_a_message_that_is_cut_off_anywhere_is_told(name):
    octets = bytes.fromhex(PUBLISHED[name][0])
    for length in range(len(octets)):
        with pytest.raises(PrinterError, match="no IPP message"):
            decode(octets[:length])


@settings(max_examples=60, deadline=None)
@given(st.binary(max_size=60), MESSAGES, st.integers(0, 2000))
def test_damage_is_read_or_told_and_never_anything_else(noise, message, at):
    octets = encode(message)
    for damaged in (noise, octets[:at] + noise + octets[at + 3:]):
        try:
            again = decode(damaged)
        except PrinterError as error:
            assert "octet" in str(error)  # noqa: PT017 - either way is right
        else:
            assert isinstance(again, Message)


HEAD = "0101" "0000" "00000001"


@pytest.mark.parametrize(("octets", "wanted"), [
    ("", "version"), ("3c68746d6c3e", "version"), (HEAD, "a tag"), (HEAD + "00" "03", "begins a group"),
    (HEAD + "21", "begins a group"), (HEAD + "01" "2100000004" "00000001" "03", "an attribute with a name"),
    (HEAD + "01" "21000161" "0003" "000001" "03", "a value of tag 0x21"),
    (HEAD + "01" "22000161" "0001" "02" "03", "a value of tag 0x22"),
    (HEAD + "01" "21000161" "8000" "03", "a length from 0 on"),
    (HEAD + "01" "21000161" "0004" "0000", "4 octets"),
    (HEAD + "01" "31000161" "000b" "07ea0d01000000002b0000" "03", "a value of tag 0x31"),
    (HEAD + "01" "36000161" "0004" "00036465" "03", "a value of tag 0x36"),
    (HEAD + "01" "37000161" "0000" "03", "a value"),
    (HEAD + "01" "34000161" "0000" "21000000040000000137" "0000000003", "the name of a member"),
    (HEAD + "01" "34000161" "0000" "4a0000000161" "3700000000" "03", "a value for each member"),
    (HEAD + "01" "34000161" "0000" + 9 * "4a00000001613400000000" + "03", "collections within each other"),
])
def test_octets_that_are_no_message_are_told(octets, wanted):
    with pytest.raises(PrinterError, match="no IPP message") as caught:
        decode(bytes.fromhex(octets))
    assert wanted in str(caught.value.expected)


@pytest.mark.parametrize("wrong", [
    attribute("copies", Tag.INTEGER), attribute("copies", Tag.INTEGER, "2"), attribute("copies", Tag.INTEGER, True),
    attribute("copies", Tag.INTEGER, 1 << 31), attribute("sides", Tag.KEYWORD, 2), attribute("a" * 40000, Tag.NAME, ""),
    attribute("name", Tag.NAME, "a" * 40000), attribute("since", Tag.DATE_TIME, datetime(2026, 11, 25)),  # noqa: DTZ001
    Attribute("media", (Value(Tag.KEYWORD, (MEDIA,)),)), attribute("later", 0x15, "text"),
    Attribute("media-col", (Value(Tag.BEGIN_COLLECTION, (attribute("x", Tag.INTEGER),)),)),
])
def test_what_cannot_be_written_is_refused(wrong):
    with pytest.raises(ValueError, match=r".+"):
        encode(Message(2, 1, (Group(OPERATION, (wrong,)),)))
