"""An instrument in another process that sends the same block again and again, as fast as it is read."""

import multiprocessing
import socket
import struct
from contextlib import contextmanager

import numpy as np

HEAD = struct.Struct("!2sBBIQ")
ANSWERS = {b"*IDN?": b"PLANT,BLOCKS,B-1,1\n", b"SYST:ERR?": b'0,"No error"\n'}
INITIALIZE, INITIALIZE_RESPONSE, DATA, DATA_END, SIZE, SIZE_RESPONSE, ASYNC, ASYNC_RESPONSE = 0, 1, 6, 7, 15, 16, 17, 18
HISLIP_SIZE = 1 << 20


def codes_of(count):
    """The codes of the block: random, so that line feeds lie inside."""
    return np.random.default_rng(5).integers(-32768, 32767, count, dtype=np.int16)


def block_of(count):
    """Those codes as a definite block with its line feed."""
    body = codes_of(count).tobytes()
    length = str(len(body)).encode()
    return b"#" + str(len(length)).encode() + length + body + b"\n"


@contextmanager
def serving(count):
    """Yield the ports of a raw socket and of HiSLIP on which another process serves a block of `count` codes."""
    raw, hislip = (socket.create_server(("127.0.0.1", 0)) for _ in range(2))
    process = multiprocessing.get_context("fork").Process(target=_serve, args=(raw, hislip, count))
    process.start()
    ports = raw.getsockname()[1], hislip.getsockname()[1]
    raw.close()
    hislip.close()
    try:
        yield ports
    finally:
        process.terminate()
        process.join()


def _serve(raw, hislip, count):
    import threading

    answers = ANSWERS | {b"TRAC?": block_of(count)}
    threading.Thread(target=_accept, args=(hislip, _talk_hislip, answers), daemon=True).start()
    _accept(raw, _talk_raw, answers)


def _accept(server, talk, answers):
    import threading

    while True:
        connection, _ = server.accept()
        connection.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        threading.Thread(target=talk, args=(connection, answers), daemon=True).start()


def _talk_raw(connection, answers):
    with connection, connection.makefile("rb") as lines:
        for line in lines:
            connection.sendall(answers.get(line.strip(), b""))


def _talk_hislip(connection, answers):
    with connection, connection.makefile("rb") as stream:
        while len(head := stream.read(HEAD.size)) == HEAD.size:
            _, kind, _, parameter, size = HEAD.unpack(head)
            payload = stream.read(size)
            if kind == INITIALIZE:
                connection.sendall(HEAD.pack(b"HS", INITIALIZE_RESPONSE, 0, 0x0100 << 16 | 1, 0))
            elif kind == ASYNC:
                connection.sendall(HEAD.pack(b"HS", ASYNC_RESPONSE, 0, 0, 0))
            elif kind == SIZE:
                connection.sendall(HEAD.pack(b"HS", SIZE_RESPONSE, 0, 0, 8) + HISLIP_SIZE.to_bytes(8, "big"))
            else:
                _send_hislip(connection, memoryview(answers.get(payload.strip(), b"")), parameter)


def _send_hislip(connection, answer, number):
    step = HISLIP_SIZE - HEAD.size
    for start in range(0, len(answer), step):
        part = answer[start:start + step]
        kind = DATA_END if start + step >= len(answer) else DATA
        connection.sendall(HEAD.pack(b"HS", kind, 0, number, len(part)))
        connection.sendall(part)
