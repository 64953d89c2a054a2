from __future__ import annotations

import contextlib
import os
import time
from typing import Any

import serial

from telemetry.description import Description
from telemetry.errors import DescriptionError, SourceError
from telemetry.feeds.base import BLOCK_BYTES, Chunk, Known
from telemetry.feeds.limits import Limits, check_opened_device
from telemetry.journal import Kind

_WAIT_S = 0.05
_PAUSE_S, _FEW_BYTES = 0.01, 512


class SerialFeed:
    """A serial device, or a URL of a scheme that the settings list. Reads what is there in one go:
    reading line by line costs forty times as much and loses bytes at speed. Never writes, and
    leaves DTR and RTS as they are."""

    unsettled = False
    patient = False

    def __init__(self, description: Description, *, name: str, limits: Limits) -> None:
        self._url, self._baud = description.source.port, description.source.baud
        self._name, self._limits = name, limits
        self._port: Any = None
        self._at = 0
        self._down_since: float | None = None
        self._started = False
        self._trickles = False
        self.descriptor = -1  # of an open port of the system that never waits

    def check(self) -> None:
        if not self._url:
            raise DescriptionError(
                f"{self._name}: source.port: is missing, allowed: a device path or pyserial URL"
            )

    def open(self, known: Known) -> list[Chunk]:
        first = not self._started
        if first:
            self._at = known.position
        try:
            self._port = self._connect()
        except SourceError:
            self._down_since = self._down_since or time.monotonic()
            raise
        except (OSError, ValueError) as error:  # SerialException is an OSError
            self._down_since = self._down_since or time.monotonic()
            raise SourceError(f"{self._url}: {_text(error)}", retry=True) from error
        self._started = True
        meta: dict[str, Any] = {"broken": True}
        if first and known.has_data:
            meta["message"] = "intake was not listening"
        elif self._down_since is not None and not first:
            meta["message"] = f"the link was down for {time.monotonic() - self._down_since:.1f} s"
        self._down_since = None
        return [Chunk(Kind.OPENED, meta)]

    def read(self) -> list[Chunk]:
        if self._trickles:
            time.sleep(_PAUSE_S)
        try:
            body = self._port.read(max(1, min(self._port.in_waiting, BLOCK_BYTES)))
        except OSError as error:
            raise self._lost(error) from error
        # After a few bytes a few more are waited for, else it wakes for every line.
        self._trickles = 0 < len(body) < _FEW_BYTES
        return self._chunks(body)

    def read_now(self) -> list[Chunk]:
        """What is there, by one call in place of three; only where there is a `descriptor`."""
        try:
            body = os.read(self.descriptor, BLOCK_BYTES)
            if not body:  # the link is gone: let pyserial say how
                body = self._port.read(1)
        except BlockingIOError:
            return []
        except OSError as error:
            raise self._lost(error) from error
        return self._chunks(body)

    def _chunks(self, body: bytes) -> list[Chunk]:
        if not body:
            return []
        chunk = Chunk(Kind.DATA, {"source": "live", "at": self._at}, body)
        self._at += len(body)
        return [chunk]

    def _lost(self, error: OSError) -> SourceError:
        self._down_since = time.monotonic()
        return SourceError(f"{self._url}: {_text(error)}", retry=True)

    def close(self) -> None:
        if self._port is not None:
            with contextlib.suppress(OSError):
                self._port.close()
            self._port = None
        self.descriptor = -1

    def _connect(self) -> Any:
        to_open = self._limits.port(self._url or "")
        port = serial.serial_for_url(to_open, do_not_open=True)
        port.baudrate, port.timeout = self._baud, _WAIT_S
        with contextlib.suppress(AttributeError, ValueError):
            port.exclusive = True  # a second reader would take half the bytes
        # Some tables reset or stop when a control line moves: opening must set neither.
        for setter in ("_update_dtr_state", "_update_rts_state"):
            if hasattr(port, setter):
                setattr(port, setter, _leave_alone)
        port.open()
        if "://" not in to_open:
            try:
                check_opened_device(port.fileno(), self._url or "")
            except SourceError:
                port.close()
                raise
        self.descriptor = -1
        with contextlib.suppress(AttributeError, OSError):  # io.UnsupportedOperation is an OSError
            if not os.get_blocking(port.fileno()):
                self.descriptor = port.fileno()
        return port


def _leave_alone() -> None:
    """In place of what would raise a control line."""


def _text(error: Exception) -> str:
    return getattr(error, "strerror", None) or str(error)
