"""What can be done on the floor: one line a kind, its handler imported on first use.

A handler takes a `Call` and returns its result as JSON values; what it writes goes through
`call.memo`, which is what undo reads. It raises `FloorError` to refuse, `FloorConflict` to keep
both sides.
"""

from __future__ import annotations

import importlib
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from shopfloor.services.handlers.call import Call

Handler = Callable[[Call], dict[str, Any]]


@dataclass(frozen=True, slots=True)
class Kind:
    label: str
    handler: str  # "module:function" under this package


KINDS: dict[str, Kind] = {
    "start": Kind("started a nest", "running:start"),
    "stop": Kind("stopped", "stopping:stop"),
    "resume": Kind("carried on", "stopping:resume"),
    "give_reason": Kind("gave a reason", "stopping:give_reason"),
    "restart_at": Kind("restarted at a contour", "running:restart_at"),
    "swap_sheet": Kind("swapped the sheet", "swapping:swap_sheet"),
    "handover": Kind("handed over", "running:handover"),
    "finish": Kind("finished a sheet", "finishing:finish"),
    "change_tray": Kind("changed a tray", "changing:change_tray"),
    "change_piece": Kind("changed a piece", "changing:change_piece"),
    "inspect": Kind("looked at a piece", "changing:inspect"),
    "check": Kind("checked a cut", "checking:check"),
    "countersign": Kind("signed a check", "checking:countersign"),
    "bench": Kind("worked at the bench", "benching:bench"),
    "air": Kind("read the air", "airing:air"),
    "note": Kind("wrote a note", "running:note"),
    "undo": Kind("took something back", "undoing:undo"),
}


def handler_of(kind: str) -> Handler | None:
    """The function behind a kind, or None where there is no such kind."""
    entry = KINDS.get(kind)
    if entry is None:
        return None
    module, _, name = entry.handler.partition(":")
    found: Handler = getattr(importlib.import_module(f"{__name__}.{module}"), name)
    return found
