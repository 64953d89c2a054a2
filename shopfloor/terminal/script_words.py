"""The text of the screens' scripts: what stands in `_(…)` and `counted(…)` there, in the language
of the page. A test holds both lists together."""

from __future__ import annotations

from functools import cache

from django.utils import translation
from django.utils.translation import get_language
from django.utils.translation import gettext_noop as _


def ngettext(one: str, many: str) -> tuple[str, str]:
    """Marks both forms for the catalogue and leaves them as they are."""
    return one, many


MESSAGES = (
    _(" and "),
    _("{label} is scanned. Touch the part it replaces."),
    _("Scan its label or its tray, or take the next from the drawer."),
    _("{names}: new one: {label}."),
    _("{names}: new from the drawer."),
    _("close this run"),
    _("{good} good, {marked} marked"),
    _("all others good, {marked} marked"),
    _("Finish"),
    _("All good"),
    _("The signal saw none of them cut."),
    _("The signal saw {seen} of {parts} cut."),
    _("{n} not seen cut: left uncut"),
    _("{n} not seen cut: they are cut"),
    _("whether the parts not seen cut are cut"),
    _("Say {what}."),
    _(", and "),
    _("what was measured"),
    _("both sizes"),
    _("Carry on: what you enter is kept on this tablet and goes in later."),
    _("Mark heat {heat} on {remnant} before it leaves the table."),
    _("Mark heat {heat} on what is left before it leaves the table."),
    _("No connection since {at}."),
    _("Refused: {what} at {at}."),
    _("Refused: {what}."),
    _("Both are kept."),
    _("Not good."),
    _("Saved: {what}."),
    _("Sign in again, then what is kept here goes in."),
    _("The server did not take it."),
    _("Reading the photo."),
    _("Nothing was read."),
    _("On the photo: {code}."),
    _("There are {n} codes on it; the largest was taken."),
    _("A photo needs the connection. Type or scan the code, or touch it on the screen."),
    _("a figure, not “{value}”"),
    _("PIN"),
    _("Now the PIN."),
    _("Badge read. Now the PIN."),
    _("Scan your badge, or touch your name first."),
    _("Touch the figures of your PIN first."),
    _("Mark the heat of sheet {code} on what stays before it is cut away."),
    _("Set kept: {why}"),
    _("Nobody could say what that code is."),
    _("{code} is not among what this tablet knows, and there is no connection to ask."),
    _("started"),
    _("stopped"),
    _("cutting again"),
    _("restarted"),
    _("finished"),
    _("changed the set"),
    _("changed a part"),
    _("checked"),
    _("bench work"),
    _("gave a reason"),
    _("measured a pit"),
    _("noted"),
    _("handed over"),
    _("read the air"),
    _("swapped the sheet"),
    _("at {time}"),
    _("No reason yet"),
    _("started here; the counts come with the connection"),
    _("On sheet {sheet}, as entered here."),
    _("begun anew; the counts come with the connection"),
    _("why the set stays"),
    _("why another sheet is taken"),
    _("As scanned."),
    _("Planned was {sheet}."),
    _("Sheet {code}"),
    _("on sheet {code}"),
)
COUNTED = (
    ngettext(
        "{n} entry waits on this tablet and goes in later.",
        "{n} entries wait on this tablet and go in later.",
    ),
    ngettext("old one: {states}", "old ones: {states}"),
    ngettext("old one out as worn", "old ones out as worn"),
    ngettext("{n} part, close this run", "{n} parts, close this run"),
    ngettext("why it is scrap", "why they are scrap"),
    ngettext(
        "Carry on: {n} entry waits on this tablet and goes in later.",
        "Carry on: {n} entries wait on this tablet and go in later.",
    ),
    ngettext(
        "Carry on: {n} entry waits in this page only and goes in later: leave it open.",
        "Carry on: {n} entries wait in this page only and go in later: leave it open.",
    ),
)


@cache
def _words(language: str) -> dict[str, object]:
    said: dict[str, object] = {text: translation.gettext(text) for text in MESSAGES}
    for one, many in COUNTED:
        texts = [translation.ngettext(one, many, n) for n in range(200)]
        forms = list(dict.fromkeys(texts))
        said[one] = {"forms": forms, "by": [forms.index(text) for text in texts]}
    return said


def script_words() -> dict[str, object]:
    """Message to its translation; of a counted one the forms, and which goes with 0 to 199: from
    there on a language's forms repeat by the last two digits. Empty in English."""
    language = get_language() or "en"
    return {} if language.startswith("en") else _words(language)
