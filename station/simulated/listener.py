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
    after it. `each_tick` is called some twenty times a second, `at_end` once when serving ends.
    """

    def __init__(self, port: int, name: str, converse: Callable[[socket.socket], None],
                 each_tick: Callable[[], None] = lambda: None, at_end: Callable[[], None] = lambda: None) -> None:
        self._attend_to, self._each_tick, self._at_end = converse, each_tick, at_end
        self._listener = socket.create_server((HOST, port))
        self._listener.settimeout(TICK)
        self.port = int(self._listener.getsockname()[1])
        self.ended, self._lock = Event(), Lock()
        self._refusal: Callable[[], bool] | None = None     # while it says so, nobody may connect
        # Held while the port opens or closes: a socket that is shut down before it listens never serves anybody again.
        self._door = Lock()
        self._listening = Event()
        self._listening.set()
        self._connections: dict[socket.socket, Thread] = {}
        self._thread = Thread(target=self._serve, name=name)

    def __enter__(self) -> Self:
        """Start serving."""
        self._thread.start()
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None,
                 trace: TracebackType | None) -> None:
        """Stop serving: every connection is closed and every thread has ended when this returns."""
        self.ended.set()
        self._at_end()
        with self._door:
            self._shut()                # wakes the accepting thread at once where the system allows it
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

    def refuse(self, lasts: Callable[[], bool]) -> None:
        """Refuse new connections, as a port where nobody listens, for as long as `lasts` says; from any thread."""
        with self._door:
            self._refusal = lasts
            self._shut()

    def await_listening(self) -> None:
        """Wait until a refusal that is over has ended, or serving has."""
        while not self._listening.wait(TICK) and not self.ended.is_set():
            pass

    def _shut(self) -> None:
        if self._listening.is_set():
            self._listening.clear()
            with suppress(OSError):     # not every system shuts down a socket that listens
                self._listener.shutdown(socket.SHUT_RDWR)

    def _serve(self) -> None:
        while not self.ended.is_set():
            if self._refusal is not None:
                self._keep_closed(self._refusal)
            with suppress(TimeoutError):
                self._serve_next()
            self._each_tick()

    def _keep_closed(self, lasts: Callable[[], bool]) -> None:
        """Stop listening but keep the port: who connects to one that is bound and not listening is refused."""
        with self._door:
            self._listener.close()
            self._listener = socket.socket()
            self._listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            self._listener.bind((HOST, self.port))
            self._listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 0)    # nobody else may listen meanwhile
        while lasts() and not self.ended.wait(TICK):
            self._each_tick()
        with self._door:
            if self._refusal is not lasts:
                return      # another has come meanwhile, and is next
            self._refusal = None
            self._listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            self._listener.listen()
            self._listener.settimeout(TICK)
            self._listening.set()

    def _serve_next(self) -> None:
        try:
            connection = self._listener.accept()[0]
        except TimeoutError:
            raise
        except OSError:
            return      # it was shut down, for a refusal or at the end
        connection.settimeout(None)
        connection.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        thread = Thread(target=self._attend, args=(connection,), name=self._thread.name)
        with self._lock:
            self._connections[connection] = thread
        thread.start()

    def _attend(self, connection: socket.socket) -> None:
        with connection, suppress(OSError):     # a client that goes away ends only its own connection
            self._attend_to(connection)
        with self._lock:
            self._connections.pop(connection, None)
