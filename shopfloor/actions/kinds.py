"""What can be done on the floor: one line a kind, its handler imported on first use.

A handler takes an `ActionRequest` and returns its result as JSON values; what it writes goes
through `request.undo_record`, which is what undo reads. It raises `FloorError` to refuse,
`FloorConflict` to keep both sides.
"""

from __future__ import annotations

import importlib
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from django.utils.translation import gettext_noop as N_

from shopfloor.actions.request import ActionRequest

Handler = Callable[[ActionRequest], dict[str, Any]]


@dataclass(frozen=True, slots=True)
class Kind:
    label: str
    handler: str  # "module:function"


KINDS: dict[str, Kind] = {
    "start": Kind(N_("started a nest"), "shopfloor.runs.floor.start:start"),
    "stop": Kind("stopped", "shopfloor.runs.floor.stop:stop"),
    "resume": Kind(N_("carried on"), "shopfloor.runs.floor.stop:resume"),
    "give_reason": Kind(N_("gave a reason"), "shopfloor.runs.floor.stop:give_reason"),
    "restart_at": Kind(N_("restarted at a contour"), "shopfloor.runs.floor.start:restart_at"),
    "swap_sheet": Kind(N_("swapped the sheet"), "shopfloor.runs.floor.swap_sheet:swap_sheet"),
    "handover": Kind(N_("handed over"), "shopfloor.runs.floor.start:handover"),
    "finish": Kind(N_("finished a sheet"), "shopfloor.runs.floor.finish:finish"),
    "change_tray": Kind(N_("changed a tray"), "shopfloor.wear.floor.change:change_tray"),
    "change_piece": Kind(N_("changed a piece"), "shopfloor.wear.floor.change:change_piece"),
    "inspect": Kind(N_("looked at a piece"), "shopfloor.wear.floor.change:inspect"),
    "check": Kind(N_("checked a cut"), "shopfloor.quality.floor.check:check"),
    "countersign": Kind(N_("signed a check"), "shopfloor.quality.floor.check:countersign"),
    "bench": Kind(N_("worked at the bench"), "shopfloor.jobs.floor.bench:bench"),
    "air": Kind(N_("read the air"), "shopfloor.wear.floor.air:air"),
    "note": Kind(N_("wrote a note"), "shopfloor.runs.floor.start:note"),
    "undo": Kind(N_("took something back"), "shopfloor.actions.undo:undo"),
}


def handler_of(kind: str) -> Handler | None:
    """The function behind a kind, or None where there is no such kind."""
    entry = KINDS.get(kind)
    if entry is None:
        return None
    module, _, name = entry.handler.partition(":")
    found: Handler = getattr(importlib.import_module(module), name)
    return found
