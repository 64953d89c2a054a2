"""What fields are called that have no label of their own: a form then shows the field's name."""

from __future__ import annotations

from typing import Final

from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from shopfloor.wording.labels import Label

NAMES: Final = (
    N_("Address"), N_("Photo"),
    N_("Badge"), N_("Breaks"), N_("By row"), N_("Caution"), N_("Certificate"), N_("Code"),
    N_("Currency"), N_("Customer"), N_("Dross"), N_("End"), N_("Family"), N_("File"),
    N_("First name"), N_("Heat number"), N_("In drawer"), N_("Kind"), N_("Label"), N_("Last name"),
    N_("Length"), N_("Material"), N_("Name"), N_("Nest"), N_("Next step"), N_("Note"), N_("Part"),
    N_("Person"), N_("Pin"), N_("Place"), N_("Quantity"), N_("Rated starts"), N_("Reason"),
    N_("Role"), N_("Row mm"), N_("Sheet"), N_("Start"), N_("Table"), N_("Tables"), N_("Torch"),
    N_("Username"), N_("Weekdays"), N_("Why"), N_("Width"),
)  # fmt: skip


def called(label: Label) -> str:
    """A label in the reader's language."""
    return _(str(label))
