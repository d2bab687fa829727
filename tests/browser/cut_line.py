"""A line between page and server that can be cut: a small TCP relay."""

from __future__ import annotations

import socket
import threading
from collections.abc import Iterator
from contextlib import contextmanager, suppress

from tests.browser.browsing import free_port


class Line:
    """Relays every connection to `server_port`; cut, it drops them all and refuses new ones."""

    def __init__(self, server_port: int):
        self.server_port = server_port
        self.port = free_port()
        self._whole = threading.Event()
        self._open: set[socket.socket] = set()
        self._listener: socket.socket | None = None

    @property
    def address(self) -> str:
        """Where the page is opened."""
        return f"http://127.0.0.1:{self.port}"

    def mend(self) -> None:
        """Take connections (again)."""
        self._listener = socket.create_server(("127.0.0.1", self.port))
        self._whole.set()
        threading.Thread(target=self._accept, args=(self._listener,), daemon=True).start()

    def cut(self) -> None:
        """Drop every connection at once, without a goodbye, and take no more."""
        self._whole.clear()
        if self._listener is not None:
            # Shut down first: a thread that waits in accept() would keep the port.
            with suppress(OSError):
                self._listener.shutdown(socket.SHUT_RDWR)
            self._listener.close()
        for end in list(self._open):
            _drop(end)
        self._open.clear()

    def _accept(self, listener: socket.socket) -> None:
        while self._whole.is_set():
            try:
                page, _ = listener.accept()
                server = socket.create_connection(("127.0.0.1", self.server_port), timeout=5)
            except OSError:
                return
            server.settimeout(None)
            self._open |= {page, server}
            for source, sink in ((page, server), (server, page)):
                threading.Thread(target=self._pass_on, args=(source, sink), daemon=True).start()

    def _pass_on(self, source: socket.socket, sink: socket.socket) -> None:
        with suppress(OSError):
            while data := source.recv(65536):
                sink.sendall(data)
        for end in (source, sink):
            self._open.discard(end)
            _drop(end)


def _drop(end: socket.socket) -> None:
    with suppress(OSError):
        end.shutdown(socket.SHUT_RDWR)
    end.close()


@contextmanager
def line_to(address: str) -> Iterator[Line]:
    """Open a line to a served address."""
    line = Line(int(address.rpartition(":")[2]))
    line.mend()
    try:
        yield line
    finally:
        line.cut()
