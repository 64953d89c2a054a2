"""The collector's threads: one reads, one journals, one sends; and the one pass of `--once`."""

from __future__ import annotations

import logging
import random
import threading
import time
from pathlib import Path

from telemetry.collector.client import Client, Target
from telemetry.collector.spool import Spool
from telemetry.description import Description
from telemetry.errors import DescriptionError, PushError, TelemetryError
from telemetry.feeds import make_source
from telemetry.feeds.limits import Limits
from telemetry.feeds.reader import Reader
from telemetry.journal import Damage, JournalError, Position, Record

log = logging.getLogger("telemetry.collector")
JOURNAL_S = 0.05
_SEND_EACH_S = 0.2
_BATCH_BYTES = 512 * 1024
_WAIT_FIRST_S, _WAIT_LAST_S = 1.0, 60.0


class Sender:
    """Brings the journal to the server, in order, each record once."""

    def __init__(self, spool: Spool, client: Client) -> None:
        self._spool, self._client = spool, client
        self._met = False  # whether the server has said what it wants
        self._batch_bytes = _BATCH_BYTES
        self.delivered = 0

    def step(self) -> bool:
        """One exchange; True if there may be more. Raises PushError, OSError, TelemetryError,
        after any of which it may be called again."""
        if not self._met:
            self._spool.rewind(self._client.ask())
            self._met = True
        records, end, lost = self._next()
        if not records:
            return False
        body = b"".join(record.pack() for record in records)
        self._met = False  # until the answer says so, nothing is known
        try:
            wanted = self._client.deliver(body, lost=lost, waiting=self._spool.waiting)
        except PushError as error:
            self._smaller(error)
            if error.next_sequence is None:
                raise
            wanted = error.next_sequence
        if wanted == end.sequence:
            self._spool.acknowledged(records, end)
            self.delivered += len(records)
        else:
            self._spool.rewind(wanted)
        self._met = True
        return True

    def _smaller(self, error: PushError) -> None:
        if error.status == 413 and self._batch_bytes > 1:
            self._batch_bytes //= 2

    def _next(self) -> tuple[list[Record], Position, bool]:
        records: list[Record] = []
        end, lost, size = self._spool.sent, False, 0
        for item, position in self._spool.unsent():
            if isinstance(item, Damage):
                if records:
                    break
                log.error("%s", item)
                lost, end = True, position
                continue
            records.append(item)
            end = position
            size += len(item.body)
            if size >= self._batch_bytes or len(records) >= 2_000:
                break
        return records, end, lost


def collect_once(
    description: Description, target: Target, folder: Path, *, keep_days: float
) -> tuple[int, int]:
    """Reads what is there, sends it and ends: (records sent, records that wait). Raises
    TelemetryError or OSError where the source or the server could not be reached; what was read
    is kept and goes with the next run."""
    spool, reader, client = _set_up(description, target, folder, keep_days)
    try:
        reader.read_once(lambda: _write_all(reader))
        _write_all(reader)
        sender = Sender(spool, client)
        while sender.step():
            pass
        return sender.delivered, spool.waiting
    finally:
        client.close()
        spool.close()


def collect_until(
    description: Description,
    target: Target,
    folder: Path,
    stop: threading.Event,
    *,
    keep_days: float,
) -> None:
    """Collects until `stop` is set. Returns with the journal closed."""
    spool, reader, client = _set_up(description, target, folder, keep_days)
    sending = threading.Thread(target=_send, args=(spool, client, reader, stop), name="send")
    try:
        sending.start()
        reader.start()
        _journal(reader, stop)
    finally:
        stop.set()
        reader.synced.set()
        reader.join()
        sending.join()
        _write_all(reader)
        client.close()
        spool.close()


def _set_up(
    description: Description, target: Target, folder: Path, keep_days: float
) -> tuple[Spool, Reader, Client]:
    if description.source.kind == "push":
        raise DescriptionError("a collector reads a port or files: its source.kind cannot be push")
    name = target.feed
    source = make_source(description, name=name, limits=Limits.of_collector())
    source.check()
    target.token()
    spool = Spool(folder / name, keep_days=keep_days)
    try:
        client = Client(target, spool.collector)
        reader = Reader(name)
        reader.source, reader.writer, reader.known = source, spool.writer, spool.known()
    except BaseException:
        spool.close()
        raise
    if target.in_the_clear:
        log.warning("%s: the token can be read on the way", target.url)
    return spool, reader, client


def _write_all(reader: Reader) -> None:
    while reader.journal():
        pass


def _journal(reader: Reader, stop: threading.Event) -> None:
    fault, said = "", ""
    while not stop.is_set():
        began = time.monotonic()
        try:
            reader.journal()
            fault = ""
        except JournalError as error:
            if not fault:
                log.error("%s: %s; it waits in memory", reader.name, error)
            fault = str(error)
        if (now := f"{reader.link} {reader.message}".strip()) != said:
            said = now
            log.info("%s: source %s", reader.name, now)
        stop.wait(max(0.0, (0.5 if fault else JOURNAL_S) - (time.monotonic() - began)))


def _send(spool: Spool, client: Client, reader: Reader, stop: threading.Event) -> None:
    sender, wait_s, told = Sender(spool, client), 0.0, ""
    while not stop.is_set():
        try:
            while sender.step() and not stop.is_set():
                stop.wait(_SEND_EACH_S if spool.waiting < 100 else 0.05)
            if told:
                log.info("%s: the server takes records again", reader.name)
            wait_s, told = 0.0, ""
        except (TelemetryError, OSError) as error:
            wait_s = min(max(wait_s * 2, _WAIT_FIRST_S), _WAIT_LAST_S)
            if isinstance(error, PushError) and error.hint.isdigit():
                wait_s = min(float(error.hint), _WAIT_LAST_S)
            if str(error) != told:
                told = str(error)
                log.warning("%s: %s; %d records wait here", reader.name, error, spool.waiting)
        except Exception as error:  # a fault of our own: said, and tried again
            log.exception("%s: sending failed", reader.name)
            wait_s, told = _WAIT_LAST_S, repr(error)
        if wait_s:
            stop.wait(wait_s * random.uniform(0.8, 1.2))  # noqa: S311 - spread, no secret
        else:
            reader.synced.wait(1.0)
            reader.synced.clear()
