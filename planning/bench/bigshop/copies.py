"""One copy of the small shop's rows: what becomes of its ids, codes, numbers and keys."""

from __future__ import annotations

import re
import uuid
from dataclasses import dataclass, field
from datetime import timedelta
from typing import Any

from planning.bench.bigshop.clock import Back

ORDERS_APART = 400  # a copy of the small shop has fewer numbers than that
QUOTES_APART = 100  # likewise of quotes
_FIRST_ORDERS = 20  # so that the first number has as many digits as the last
_TIME_FROM = 76  # bit of a line's key where its microseconds begin
_ORDER = re.compile(r"\bK-(\d+)")


@dataclass
class Copy:
    """`n` counts copies in order of time, so that ids and numbers grow as in a real shop; `across`
    which tables, `back` how far back in time. `steps` is by how much a model's ids differ between
    neighbours; `tables` are the small shop's table codes."""

    n: int
    across: int
    back: Back
    steps: dict[str, int]
    tables: frozenset[str]
    operators: frozenset[int]
    old: bool = field(init=False)
    mark: int = field(init=False)

    def __post_init__(self) -> None:
        self.old = bool(self.back.days)
        self.mark = self.n + 1

    def id(self, label: str, pk: int) -> int:
        return pk + self.n * self.steps[label]

    def table_id(self, label: str, pk: int) -> int:
        return pk + self.across * self.steps[label]

    def person(self, pk: int) -> int:
        """Each pair of tables has its own operators; the office is one for all."""
        return pk + self.across * self.steps["shopfloor.User"] if pk in self.operators else pk

    def uuid(self, value: uuid.UUID) -> uuid.UUID:
        return uuid.UUID(int=value.int ^ self.n)

    def code(self, code: str) -> str:
        return f"{code}-{self.across + 1}" if self.across and code in self.tables else code

    def name(self, name: str) -> str:
        return f"{name} {self.across + 1}" if self.across else name

    def numbered(self, text: str) -> str:
        """Order numbers within a text."""
        more = ORDERS_APART * (self.n + _FIRST_ORDERS)
        return _ORDER.sub(lambda found: f"K-{int(found[1]) + more}", text)

    def quoted(self, number: str) -> str:
        return f"Q-{int(number.removeprefix('Q-')) + QUOTES_APART * self.n:04d}"

    def labelled(self, label: str) -> str:
        return f"{label}-{self.mark:02d}"

    def hex_key(self, key: str) -> str:
        """The key of a feed's row: its time in front, then what the line was. A copy is another
        table's, or of another time."""
        back_us = self.back.days // timedelta(microseconds=1)
        return f"{(int(key, 16) - (back_us << _TIME_FROM)) % (1 << 128):032x}"

    def arc_key(self, key: str) -> str:
        feed, torch, line = key.split("|")
        return f"{self.code(feed)}|{torch}|{self.hex_key(line)}"

    def event_key(self, key: bytes) -> bytes:
        return bytes.fromhex(self.hex_key(bytes(key).hex()))

    def posting_key(self, key: str) -> str:
        """By what it is about; its version stays."""
        about, *rest = key.split(":")
        if about == "run":
            rest[0] = str(self.uuid(uuid.UUID(rest[0])))
            rest[2] = self.line_key(rest[2])
        elif about == "wear":
            rest[0] = str(self.id("shopfloor.Piece", int(rest[0])))
            if len(rest) > 2 and len(rest[1]) == 36:
                rest[1] = str(self.uuid(uuid.UUID(rest[1])))
                rest[2] = self.line_key(rest[2])
        elif about == "bench":
            rest[0] = str(self.id("shopfloor.BenchEntry", int(rest[0])))
        else:
            raise ValueError(f"{key}: nobody said what becomes of such a posting's key")
        return ":".join([about, *rest])

    def line_key(self, line: str) -> str:
        return str(self.id("shopfloor.JobLine", int(line))) if line.isdigit() else line

    def weights(self, weights: dict[str, Any]) -> dict[str, Any]:
        return {self.line_key(line): weight for line, weight in weights.items()}

    def payload(self, payload: dict[str, Any]) -> dict[str, Any]:
        """What an action named: its run, table, place in the queue and lines."""
        moved = dict(payload)
        if "run" in moved:
            moved["run"] = str(self.uuid(uuid.UUID(moved["run"])))
        if "table" in moved:
            moved["table"] = self.code(moved["table"])
        if "queue_item" in moved:
            moved["queue_item"] = self.id("shopfloor.QueueItem", moved["queue_item"])
        if "parts" in moved:
            moved["parts"] = [
                part | {"line": self.id("shopfloor.JobLine", part["line"])}
                for part in moved["parts"]
            ]
        return moved

    def result(self, result: dict[str, Any]) -> dict[str, Any]:
        """What came of an action: the two counts of a sheet counted twice name their run too."""
        named = ("mine", "theirs")
        return {key: self.payload(of) if key in named else of for key, of in result.items()}
