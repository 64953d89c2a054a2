"""What the customer's page of a quote says besides its prices."""

from __future__ import annotations

from collections.abc import Mapping

from django.db import transaction
from django.utils.translation import gettext as _

from planning.services.quotes import QuoteError
from shopfloor.audit.actor import acting
from shopfloor.models import Quote, QuoteState, User

TEXTS = {"enquiry": 120, "lead_time": 120, "terms": 400}  # and how many characters they hold
MOST_WORDS = 160


@transaction.atomic
def quote_words(
    *, quote: Quote, texts: Mapping[str, str], lines: Mapping[int, str], by: User
) -> None:
    """Keeps the texts of `TEXTS`, and by number what each line is called. While the quote is open:
    what was decided on stays as the customer had it. Raises QuoteError."""
    row = Quote.objects.select_for_update().get(pk=quote.pk)
    if row.state != QuoteState.OPEN:
        raise QuoteError(_("It was decided: what the customer read stays."))
    for name, most in TEXTS.items():
        text = texts.get(name, "").strip()
        if len(text) > most:
            raise QuoteError(_("{most} characters at most.").format(most=most))
        setattr(row, name, text)
    with acting(f"user:{by.username}", why="customer's page"):
        row.save(update_fields=list(TEXTS))
        for line in row.lines.all():
            line.words = lines.get(line.number, "").strip()[:MOST_WORDS]
            line.save(update_fields=["words"])
