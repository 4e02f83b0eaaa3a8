"""A loopback TCP port that gives each client a thread and leaves none behind."""

import socket
from collections.abc import Callable
from contextlib import suppress
from threading import Event, Lock, Thread
from types import TracebackType
from typing import Self

HOST = "127.0.0.1"
TICK = 0.05             # s, wall, between two calls of `each_tick`


class Listener:
    """Runs `converse(connection)` in a thread for each client, from entering to leaving the `with` block.

    Port 0 takes a free port. `converse` may raise OSError when its client goes away; the connection is closed
    after it. `each_tick` is called some twenty times a second.
    """

    def __init__(self, port: int, name: str, converse: Callable[[socket.socket], None],
                 each_tick: Callable[[], None] = lambda: None) -> None:
        self._converse, self._each_tick = converse, each_tick
        self._listener = socket.create_server((HOST, port))
        self._listener.settimeout(TICK)
        self.port = int(self._listener.getsockname()[1])
        self._ended, self._lock = Event(), Lock()
        self._connections: dict[socket.socket, Thread] = {}
        self._thread = Thread(target=self._serve, name=name)

    def __enter__(self) -> Self:
        """Start serving."""
        self._thread.start()
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None,
                 trace: TracebackType | None) -> None:
        """Stop serving: every connection is closed and every thread has ended when this returns."""
        self._ended.set()
        with suppress(OSError):         # wakes the accepting thread at once where the system allows it
            self._listener.shutdown(socket.SHUT_RDWR)
        self._thread.join()
        self._listener.close()
        with self._lock:
            open_now = dict(self._connections)
        for connection, thread in open_now.items():
            with suppress(OSError):     # the client may have closed it already
                connection.shutdown(socket.SHUT_RDWR)
            thread.join()

    def drop(self) -> None:
        """Close every connection; their threads end by themselves. From any thread, `converse` too."""
        with self._lock:
            open_now = list(self._connections)
        for connection in open_now:
            with suppress(OSError):     # it may have gone by itself
                connection.shutdown(socket.SHUT_RDWR)

    def _serve(self) -> None:
        while not self._ended.is_set():
            with suppress(TimeoutError):
                connection = self._accept()
                if connection is None:
                    return
                connection.settimeout(None)
                connection.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
                thread = Thread(target=self._attend, args=(connection,), name=self._thread.name)
                with self._lock:
                    self._connections[connection] = thread
                thread.start()
            self._each_tick()

    def _accept(self) -> socket.socket | None:
        try:
            return self._listener.accept()[0]
        except OSError:
            if self._ended.is_set():    # the listener was shut down under it
                return None
            raise

    def _attend(self, connection: socket.socket) -> None:
        with connection, suppress(OSError):     # a client that goes away ends only its own connection
            self._converse(connection)
        with self._lock:
            self._connections.pop(connection, None)
