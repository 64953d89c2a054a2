"""Django's own, which also knows the names that our code marks messages by."""

from __future__ import annotations

from django.core.management.commands.makemessages import Command as Makemessages

# A function's name, and which of its arguments is a message, or the singular and the plural.
MARKS = (
    "_lazy",
    "N_",
    "said",
    "said_in_each:1",
    "said_of_many:1,2",
    "plural:1,2",
    "Remark",
    "count:2,3",
    "count_fractional:2,3",
)


class Command(Makemessages):
    xgettext_options = Makemessages.xgettext_options + [f"--keyword={mark}" for mark in MARKS]
