"""What can go wrong on the floor, said to the person standing there."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from django.utils.translation import gettext as _


class FloorError(Exception):
    """Something cannot be done as asked.

    `message` says what, `hint` what to do next. `ask` names what would make it possible (a reason,
    a sheet) and `details` carries what a page needs to ask for it.
    """

    def __init__(
        self, message: str, hint: str = "", *, ask: str = "", details: dict[str, Any] | None = None
    ) -> None:
        super().__init__(message)
        self.message = message
        self.hint = hint
        self.ask = ask
        self.details = details or {}


class FloorConflict(FloorError):
    """Two people said different things of the same work. Neither is overwritten: both are kept in
    `mine` and `theirs` until a person decides."""

    def __init__(
        self, message: str, hint: str = "", *, mine: dict[str, Any], theirs: dict[str, Any]
    ) -> None:
        super().__init__(message, hint)
        self.mine = mine
        self.theirs = theirs


class PinLocked(FloorError):
    """Too many wrong PINs; another may be tried at `until`."""

    def __init__(self, until: datetime) -> None:
        super().__init__(
            _("Too many wrong PINs."),
            _("Wait until the time shown, or ask the office for a new PIN."),
        )
        self.until = until
