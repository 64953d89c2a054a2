"""Connections that ask, or take, slowly. They go to a loopback server of the test's own, are
counted, and are closed with the block."""

from __future__ import annotations

import contextlib
import socket
from collections.abc import Iterator

HEAD = b"GET / HTTP/1.1\r\nHost: localhost\r\nX-Half: "
BODY = b"POST /sign-in/ HTTP/1.1\r\nHost: localhost\r\nContent-Length: 100000\r\n\r\nusername="


def reading(path: str) -> bytes:
    return f"GET {path} HTTP/1.1\r\nHost: localhost\r\n\r\n".encode()


@contextlib.contextmanager
def held(port: int, count: int, sent: bytes) -> Iterator[list[socket.socket]]:
    """`count` connections that have sent `sent` and then neither send nor read."""
    with contextlib.ExitStack() as stack:
        made = []
        for _ in range(count):
            one = stack.enter_context(socket.socket())
            one.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4096)
            one.settimeout(10)
            one.connect(("127.0.0.1", port))
            one.sendall(sent)
            made.append(one)
        yield made


def ended(one: socket.socket) -> bool:
    """Whether the other end has closed it; what it had sent is read and dropped."""
    try:
        while one.recv(65536):
            pass
    except TimeoutError:
        return False
    except OSError:
        return True
    return True
