"""One action on its way to a handler, and the small readers of its payload."""

from __future__ import annotations

import uuid
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from django.utils.translation import gettext as _

from shopfloor.audit.undo_record import UndoRecord
from shopfloor.errors import FloorError
from shopfloor.models import Action, Run, Table, Terminal, Torch, User
from shopfloor.runs.queries import current_run


@dataclass(slots=True)
class ActionRequest:
    action: Action
    payload: dict[str, Any]
    person: User
    terminal: Terminal | None
    at: datetime  # corrected by the device's offset
    now: datetime
    place: Table | None = None  # where the screen stood it was made at
    pin_given: bool = False
    undo_record: UndoRecord = field(default_factory=UndoRecord)

    def text(self, name: str, *, most: int = 200) -> str:
        """A payload's text, stripped; "" where it is not there."""
        value = self.payload.get(name)
        if value is None:
            return ""
        if not isinstance(value, str | int):
            raise FloorError(_("{name}: {value!r} is not text").format(name=name, value=value))
        return str(value).strip()[:most]

    def number(self, name: str) -> float | None:
        """A payload's number; None where it is not there."""
        return number_of(self.payload, name)

    def table(self) -> Table:
        """The table this was done at: the screen's; without a screen the one named."""
        code = self.text("table")
        if self.place is not None:
            if code and code != self.place.code:
                raise FloorError(
                    _("This screen is beside {place}, not at {code!r}.").format(
                        place=self.place.name, code=code
                    ),
                    _("Enter it at the screen of that table."),
                )
            return self.place
        if code:
            found = Table.objects.filter(code=code).first()
            if found is None:
                raise FloorError(_("There is no table {code!r}.").format(code=code))
            return found
        raise FloorError(_("Which table?"), _("Choose the table first."), ask="table")

    def belongs(self, what: str, table: Table | None) -> None:
        """Raises `FloorError` where something stands, runs or was done at another table than the
        one this was entered at."""
        if table is None or (self.place is None and not self.text("table")):
            return
        here = self.table()
        if table.pk != here.pk:
            raise FloorError(
                _("{what} belongs to {table}, and this was entered at {here}.").format(
                    what=what, table=table.name, here=here.name
                ),
                _("Enter it at {table}, or ask the supervisor.").format(table=table.name),
            )

    def torch(self, table: Table) -> Torch:
        """The torch named, else the table's first."""
        code = self.text("torch")
        torches = table.torches.order_by("code")
        found = torches.filter(code=code).first() if code else torches.first()
        if found is None:
            raise FloorError(
                _("{table} has no torch {code}.").format(table=table.name, code=code or "at all")
            )
        return found

    def run(self, *, required: bool = True) -> Run | None:
        """The run named, else the one on this table at that time."""
        named = self.text("run")
        if named:
            try:
                run = Run.objects.select_related("table").get(pk=uuid.UUID(named))
            except (ValueError, Run.DoesNotExist):
                raise FloorError(_("There is no run {named!r}.").format(named=named)) from None
            self.belongs(_("That run"), run.table)
            return run
        found = current_run(self.table(), self.at)
        if found is None and required:
            raise FloorError(_("Nothing is running on this table."), _("Start a nest first."))
        return found

    def require_run(self) -> Run:
        found = self.run()
        if found is None:
            raise FloorError(_("Nothing is running on this table."), _("Start a nest first."))
        return found


def number_of(values: dict[str, Any], name: str, *, whole: bool = False) -> float | None:
    value = values.get(name)
    if value is None or value == "":
        return None
    if isinstance(value, bool):
        raise FloorError(_("{name}: {value!r} is not a number").format(name=name, value=value))
    try:
        found = float(value)
    except (TypeError, ValueError):
        raise FloorError(
            _("{name}: {value!r} is not a number").format(name=name, value=value)
        ) from None
    if found != found or found in (float("inf"), float("-inf")):
        raise FloorError(_("{name}: {value!r} is not a number").format(name=name, value=value))
    if whole and found != int(found):
        raise FloorError(
            _("{name}: {value!r} is not a whole number").format(name=name, value=value)
        )
    return found
