"""station.certificate.ipp_client at a real printer, beside another client, and at peers that are no printers."""

import re
import socket
import threading
import time
from contextlib import contextmanager, suppress

import pytest

from station.certificate.ipp_client import IppPrinter, Wishes, as_name
from station.certificate.ipp_message import Group, GroupTag, Message, attribute, encode
from station.certificate.ipp_values import Tag
from station.certificate.ipp_words import BUSY, NOT_FOUND, JobState, job_words, reason_words, status_words
from station.certificate.printer_address import PrinterAddress, parse_printer_uri
from station.clock import system_clock
from station.errors import DeclinedError, PrinterError, UnreachableError

DOCUMENT = b"%PDF-1.7\n" + bytes(range(256)) * 1500


def client(uri, deadline=15.0, **options):
    return IppPrinter(parse_printer_uri(uri), system_clock(), "EOL-1", deadline=deadline, **options)


def until(state, printer, job_id):
    for _ in range(400):
        job = printer.job(job_id)
        if job.state == state:
            return job
        time.sleep(0.05)
    raise AssertionError(f"job {job_id} stays {job}")


def test_a_document_arrives_byte_for_byte_and_its_job_is_followed(printer):
    ours = client(printer.start().uri)
    printer.hold()
    sent = ours.print_document("17 CP40-0001 run 1", DOCUMENT, Wishes(media="iso_a4_210x297mm", sides="one-sided"))
    working = until(JobState.PROCESSING, ours, sent.job_id)
    assert (working.name, working.reasons) == ("17 CP40-0001 run 1", ("job-printing",))
    assert ours.jobs(finished=False) == [working]
    assert ours.jobs(finished=True) == []
    printer.release()
    done = until(JobState.COMPLETED, ours, sent.job_id)
    assert done.reasons == ("job-completed-successfully",)
    assert ours.jobs(finished=True) == [done]
    assert printer.printed() == [DOCUMENT]


def test_another_client_reads_the_same(printer):
    ours = client(printer.start().uri)
    sent = ours.print_document("Prüfschein Ω 17", DOCUMENT, Wishes(copies=2))
    until(JobState.COMPLETED, ours, sent.job_id)
    report, theirs = ours.report(), printer.ask_with_ipptool("get-printer-attributes.test")

    def told(name):
        return re.search(rf"^ +{name} \([^)]*\) = (.*)$", theirs, re.MULTILINE).group(1)

    assert "[PASS]" in theirs
    assert told("printer-name") == report.name
    assert told("printer-make-and-model") == report.model
    assert told("document-format-supported") == ",".join(report.formats)
    assert told("media-supported") == ",".join(report.media)
    assert told("sides-supported") == ",".join(report.sides)
    assert told("printer-state-reasons") == ",".join(report.reasons)
    assert (told("printer-state"), report.state) == ("idle", 3)
    assert (told("printer-is-accepting-jobs"), report.is_accepting) == ("true", True)

    theirs = printer.ask_with_ipptool("get-job-attributes.test", f"/{sent.job_id}")
    assert (told("job-name"), told("job-originating-user-name")) == ("Prüfschein Ω 17", "EOL-1")
    assert (told("job-state"), told("copies")) == ("completed", "2")
    assert told("document-format-supplied") == "application/pdf"


def test_a_busy_printer_says_no_and_the_connection_is_no_matter(printer):
    ours = client(printer.start().uri)
    printer.hold()
    ours.print_document("first", DOCUMENT, Wishes())
    with pytest.raises(DeclinedError, match="busy") as caught:
        ours.print_document("second", DOCUMENT * 8, Wishes())
    assert caught.value.status == BUSY
    with pytest.raises(DeclinedError) as caught:
        ours.job(4711)
    assert caught.value.status == NOT_FOUND


def test_what_the_printer_lacks_is_told_in_words(printer):
    ours = client(printer.start().uri)
    printer.hold(lacks="media-empty-error")
    ours.print_document("first", DOCUMENT, Wishes())
    for _ in range(200):
        if reason_words(ours.report().reasons) == "paper is empty":
            return
        time.sleep(0.05)
    raise AssertionError(f"told {ours.report().reasons}")


def test_an_encrypted_printer_is_spoken_to_only_under_a_trusted_certificate(printer):
    printer.start()
    secure = printer.uri.replace("ipp:", "ipps:")
    with pytest.raises(UnreachableError, match="self-signed") as caught:
        client(secure).report()
    assert "trust" in caught.value.remedy
    own, = (printer.folder / "keys").glob("*.crt")
    trusted = client(secure, trust=own)
    job = trusted.print_document("17", DOCUMENT, Wishes())
    until(JobState.COMPLETED, trusted, job.job_id)
    assert printer.printed() == [DOCUMENT]
    with pytest.raises(UnreachableError, match="mismatch"):     # its certificate is of another name
        client(secure.replace("localhost", "127.0.0.1"), trust=own).report()


def test_an_absent_printer_is_unreachable(printer):
    with pytest.raises(UnreachableError, match="refused"):
        client(printer.uri).print_document("17", DOCUMENT, Wishes())
    with pytest.raises(UnreachableError):
        client("ipp://nowhere.invalid/").report()


@contextmanager
def peer(converse):
    """Serve one connection after the other with `converse`; give the URI."""
    links = []
    with socket.create_server(("127.0.0.1", 0)) as listener:
        def serve():
            with suppress(OSError):
                while True:
                    links.append(listener.accept()[0])
                    with links[-1] as link, suppress(OSError):
                        converse(link)

        thread = threading.Thread(target=serve)
        thread.start()
        try:
            yield f"ipp://127.0.0.1:{listener.getsockname()[1]}/ipp/print"
        finally:
            listener.shutdown(socket.SHUT_RDWR)
            for link in links:
                link.close()
            thread.join()


def whole_request(link):
    """Receive head and body, and return the body."""
    received = b""
    while b"\r\n\r\n" not in received:
        received += some(link)
    head, _, body = received.partition(b"\r\n\r\n")
    length = int(re.search(rb"(?i)content-length: (\d+)", head).group(1))
    while len(body) < length:
        body += some(link)
    return body


def some(link):
    received = link.recv(65536)
    if not received:
        raise ConnectionError("the client has gone")
    return received


def answering(content, head=b"HTTP/1.1 200 OK", kind=b"application/ipp"):
    def converse(link):
        whole_request(link)
        link.sendall(head + b"\r\nContent-Type: " + kind + b"\r\nContent-Length: " + str(len(content)).encode()
                     + b"\r\n\r\n" + content)
    return converse


def job_answer(request_id=1, **numbers):
    job = tuple(attribute(name.replace("_", "-"), Tag.INTEGER, number) for name, number in numbers.items())
    return encode(Message(0, request_id, (Group(GroupTag.JOB, job),)))


@pytest.mark.parametrize(("converse", "words"), [
    (answering(b"", b"HTTP/1.1 404 Not Found", b"text/html"), "status 404"),
    (answering(b"", b"HTTP/1.1 401 Unauthorized"), "no password"),
    (answering(b"<html>", kind=b"text/html"), "text/html"),
    (answering(b"<html>"), "no IPP message"),
    (answering(job_answer(request_id=2, job_id=1)), "answer to another request"),
    (answering(job_answer()), "a job without number"), (answering(job_answer(job_id=0)), "a job without number"),
    (answering(b"\0" * ((1 << 20) + 1)), "answer is too long"),
    (lambda link: link.sendall(b"220 mail.invalid ready\r\n"), "gave no answer"),
    (lambda link: whole_request(link) and None, "gave no answer"),
])
def test_a_peer_that_is_no_printer_is_told(converse, words):
    with peer(converse) as uri, pytest.raises(PrinterError, match=words) as caught:
        client(uri).print_document("17", DOCUMENT, Wishes())
    assert not isinstance(caught.value, UnreachableError)      # it may have got the document


def test_a_no_that_comes_before_the_document_was_read_is_heard():
    def converse(link):
        link.recv(100)
        refusal = encode(Message(BUSY, 1, (Group(GroupTag.OPERATION, ()),)))
        link.sendall(b"HTTP/1.1 200 OK\r\nContent-Type: application/ipp\r\n\r\n" + refusal)
        link.shutdown(socket.SHUT_WR)
        time.sleep(0.2)     # then it closes with much unread, which resets the connection

    with peer(converse) as uri, pytest.raises(DeclinedError, match="busy"):
        client(uri).print_document("17", DOCUMENT * 100, Wishes())


def dripping(link):
    """Answer an octet at a time, for longer than any deadline here."""
    whole_request(link)
    for octet in b"HTTP/1.1 200 OK\r\nContent-Type: application/ipp\r\nX: " + b"x" * 400:
        link.sendall(bytes([octet]))
        time.sleep(0.05)


def slowly_reading(link):
    """Take the document in small portions, for longer than any deadline here."""
    link.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4096)
    for _ in range(400):
        link.recv(4096)
        time.sleep(0.05)


@pytest.mark.parametrize(("converse", "document"), [(dripping, b"%PDF"), (slowly_reading, DOCUMENT * 100)])
def test_one_deadline_holds_for_the_whole_exchange(converse, document):
    with peer(converse) as uri, pytest.raises(PrinterError, match="silence"):
        client(uri, deadline=1.0).print_document("17", document, Wishes())


@pytest.mark.parametrize(("uri", "address"), [
    ("ipp://192.0.2.9/ipp/print", ("192.0.2.9", 631, "/ipp/print", False)),
    ("ipps://printer.example:8443", ("printer.example", 8443, "/", True)),
    ("ipp://[2001:db8::9]:631/printers/hall%202?a=b", ("2001:db8::9", 631, "/printers/hall%202?a=b", False)),
])
def test_addresses(uri, address):
    assert parse_printer_uri(uri) == PrinterAddress(uri, *address)


@pytest.mark.parametrize("uri", ["", "192.0.2.9", "http://192.0.2.9/", "ipp://", "ipp://host:port/", "ipp://host:99999/",
                                 "ipp://user@host/", "ipp://ho st/", "ipp://host/\n", "ipp://höst/"])
def test_addresses_that_are_none(uri):
    with pytest.raises(ValueError, match="ipp://192"):
        parse_printer_uri(uri)


def test_words():
    assert reason_words(["none"]) == ""
    assert reason_words(["media-empty-error", "media-empty-warning", "toner-low-report", "x-own-error"]) == (
        "paper is empty, toner runs low, x own")
    assert status_words(0x0507) == "server-error-busy (0x0507)"
    assert status_words(0x0999) == "a status of its own (0x0999)"
    assert (job_words(9), job_words(42)) == ("completed", "state 42")
    assert as_name("é" * 200) == "é" * 127
