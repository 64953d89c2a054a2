"""States and kinds as they are said."""

from __future__ import annotations

from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from shopfloor.models import (
    Dross,
    Evidence,
    FactorState,
    JobState,
    PieceKind,
    PieceState,
    QuoteState,
    RateKind,
    Role,
    RunState,
    SheetState,
)

KINDS = (
    JobState, QuoteState, FactorState, Dross, Evidence, Role, PieceState, SheetState, PieceKind,
    RateKind, RunState,
)  # fmt: skip
LABELS = {str(code): label for kind in KINDS for code, label in kind.choices}
# Codes without a list of choices: what background work and the list of sheets say, families of
# metals, steps after cutting, ends of a run.
OTHERS = (
    N_("waiting"), N_("running"), N_("done"), N_("dropped"), N_("failed"), N_("drawing"),
    N_("carbon"), N_("mild steel"), N_("stainless"), N_("aluminium"), N_("galvanised"),
    N_("coated"), N_("copper"), N_("brass"), N_("weld"), N_("bend"), N_("coat"), N_("machine"),
    N_("ship"), N_("finish"), N_("air"), N_("hole"), N_("outer"), N_("mark"), N_("ignore"),
    N_("change"), N_("pit"), N_("retired"), N_("seconds"), N_("milliseconds"), N_("inches"),
    N_("millimetres"), N_("nothing"), N_("none"), N_("all"), N_("metric"), N_("inch"), N_("light"),
    N_("dark"), N_("never"), N_("counted"), N_("serial"), N_("good"), N_("scrap"), N_("rework"),
)  # fmt: skip


def words(code: str | None) -> str:
    """A state or kind as it is said: in_stock is "in stock"."""
    if not code:
        return ""
    found = LABELS.get(code.replace(" ", "_"))
    return str(found) if found is not None else _(code.replace("_", " "))
