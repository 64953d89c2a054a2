"""The web server's limits. Waitress reads a request whole before one of its threads sees it, and
keeps what a slow browser has not taken yet, so neither holds up anybody else. What it lacks is an
end to a request that trickles in, and room for the next when too many connections are open.
"""

from __future__ import annotations

import gc
import resource
import signal
import socket
import sys
import time
from collections.abc import Callable
from typing import Any

from waitress.adjustments import Adjustments
from waitress.channel import HTTPChannel
from waitress.parser import HTTPRequestParser
from waitress.server import TcpWSGIServer
from waitress.task import WSGITask

from shopfloor.web.hosts import HERE

HEAD_BYTES = 64 * 1024
BODY_BYTES = 68 * 1024 * 1024  # the longest program that is accepted (64 MB), and its form
CONNECTIONS = 512
IDLE_S = 60  # a connection kept open between two requests
HEAD_S = 20.0
BODY_S = 30.0  # and as long again as the bytes so far take at the slowest rate
SLOWEST_B_S = 4096
FILED_BYTES = 512 * 1024  # a longer body lies in a file while it comes in
HELD_BYTES = 1024 * 1024 * 1024  # of all those files together
LOOK_S = 5  # how often connections are looked over
STOP_S = 5.0  # what runs when the server is stopped may take this long to finish
FILES_EACH = 3  # a connection's socket, and the files of a long body and of a long answer


class Task(WSGITask):  # type: ignore[misc]
    """A request that knows which of the machine's addresses it was sent to."""

    def get_environment(self) -> dict[str, Any]:
        environ: dict[str, Any] = super().get_environment()
        environ[HERE] = self.channel.here
        return environ


class Channel(HTTPChannel):  # type: ignore[misc]
    """A connection that knows how long its other end has let it wait."""

    task_class = Task
    server: Server
    request: HTTPRequestParser | None

    def __init__(self, server: Server, sock: socket.socket, *rest: Any, **more: Any) -> None:
        super().__init__(server, sock, *rest, **more)
        self.here = sock.getsockname()[0]
        self.began = time.monotonic()  # of the request now coming in, or of the wait for one
        self.to_send, self.stalled = 0, 0.0

    def received(self, data: bytes) -> bool:
        if self.request is None:
            self.began = time.monotonic()
        more = bool(super().received(data))
        if self.coming_in() > FILED_BYTES:
            self.server.make_room()
        return more

    def handle_close(self) -> None:
        if self.request is not None:
            self.request.close()  # its file goes now, not when Python finds that nobody needs it
            self.request = None
        super().handle_close()

    def coming_in(self) -> int:
        """Bytes so far of the body that is coming in."""
        return 0 if self.request is None else int(self.request.body_bytes_received)

    def held(self) -> int:
        """Bytes of bodies in files, with those of requests that wait for their answer."""
        sizes = [self.coming_in(), *(one.body_bytes_received for one in self.requests)]
        return sum(size for size in sizes if size > FILED_BYTES)

    def late(self, now: float) -> bool:
        """Whether the request coming in has taken longer than it may."""
        if self.request is None:
            return False
        took = now - self.began
        if not self.request.headers_finished:
            return took > HEAD_S
        return bool(took > BODY_S + self.request.body_bytes_received / SLOWEST_B_S)

    def stuck(self, every_s: float) -> bool:
        """Whether the answer is not being taken; asked once in `every_s` seconds."""
        left, before = self.total_outbufs_len, self.to_send
        self.to_send = left
        slow = left > 0 and before - left < SLOWEST_B_S * every_s
        self.stalled = self.stalled + every_s if slow and before else 0.0
        return self.stalled > BODY_S

    def spare(self) -> bool:
        """Whether it may be closed to make room: nothing of it is being answered."""
        return not (self.requests or self.total_outbufs_len or self.will_close)


class Server(TcpWSGIServer):  # type: ignore[misc]
    """Waitress, with an end to slow requests, and the oldest waiting connection closed when one
    too many comes."""

    channel_class = Channel
    active_channels: dict[int, Channel]

    def handle_accept(self) -> None:
        if sum(not channel.will_close for channel in self.active_channels.values()) >= CONNECTIONS:
            waiting = [channel for channel in self.active_channels.values() if channel.spare()]
            if waiting:
                min(waiting, key=lambda channel: channel.began).will_close = True
        super().handle_accept()

    def make_room(self) -> None:
        """Ends the upload that has taken longest where all together fill too much of the disk."""
        open_ones = [channel for channel in self.active_channels.values() if not channel.will_close]
        if sum(channel.held() for channel in open_ones) > HELD_BYTES:
            slow = [channel for channel in open_ones if channel.coming_in() > FILED_BYTES]
            min(slow, key=lambda channel: channel.began).will_close = True

    def maintenance(self, now: float) -> None:
        super().maintenance(now)
        for channel in self.active_channels.values():
            if channel.stuck(LOOK_S) or channel.late(time.monotonic()):
                channel.will_close = True

    def run(self) -> None:
        """Serves until SIGTERM or SIGINT; what is being answered then is answered."""
        try:
            self.asyncore.loop(timeout=1, map=self._map, use_poll=True)
        except (SystemExit, KeyboardInterrupt):
            self.del_channel()
            self.socket.close()  # refused is better than waiting for nobody
            self.task_dispatcher.shutdown(timeout=STOP_S)


def server(application: Callable[..., Any], bind: str, port: int, threads: int) -> Server:
    """Listens at once; `run` answers. `bind` is an address of the machine. Raises OSError where
    that cannot be had."""
    host = f"[{bind}]" if ":" in bind else bind.replace("localhost", "127.0.0.1")
    limits = Adjustments(
        listen=f"{host}:{port}",
        threads=threads,
        ident=None,
        # A proxy in front says what it is for; which one to believe, and what, is Django's.
        clear_untrusted_proxy_headers=False,
        max_request_header_size=HEAD_BYTES,
        max_request_body_size=BODY_BYTES,
        connection_limit=2 * CONNECTIONS,  # ours is smaller, and makes room instead of stopping
        inbuf_overflow=FILED_BYTES,
        channel_timeout=IDLE_S,
        cleanup_interval=LOOK_S,
        outbuf_high_watermark=256 * 1024 * 1024,  # over a megabyte lies in a file
        log_socket_errors=False,
        asyncore_use_poll=True,
    )
    # What is loaded by now stays: to look through it at each full collection takes 0.1 s of a page.
    gc.collect()
    gc.freeze()
    return Server(application, map={}, adj=limits, sockinfo=limits.listen[0])


def serve(application: Callable[..., Any], bind: str, port: int, threads: int) -> None:
    """Runs the server in this process until it is told to stop."""
    _, most = resource.getrlimit(resource.RLIMIT_NOFILE)
    wanted = FILES_EACH * 2 * CONNECTIONS
    if most == resource.RLIM_INFINITY or most > wanted:
        resource.setrlimit(resource.RLIMIT_NOFILE, (wanted, most))
    made = server(application, bind, port, threads)
    signal.signal(signal.SIGTERM, lambda *_: sys.exit(0))
    made.run()
