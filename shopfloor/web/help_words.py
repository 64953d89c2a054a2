"""Cautions and words that help for more than one role holds."""

from __future__ import annotations

from django.utils.translation import gettext_noop as N_

HANDS = (
    N_(
        "Before parts are changed: power source isolated and locked out "
        "(29 CFR 1910.147 or your local "
        "code), torch cool, gas off."
    ),
    N_(
        "Eyes and lungs: shade 8 or darker below 300 A (29 CFR 1910.133), extraction running; "
        "chromium-bearing and coated metal give off fumes that harm (29 CFR 1910.1026, .252)."
    ),
    N_(
        "The maker’s manual, ANSI Z49.1 and the judgement of qualified "
        "people come first. This program "
        "only listens: it never starts, stops or releases a machine, and never says one is safe."
    ),
)

EVIDENCE = (
    (N_("measured"), N_("heard from the table itself")),
    (N_("entered"), N_("said by a person")),
    (N_("planned"), N_("worked out beforehand from program and chart")),
    (N_("unknown"), N_("nobody knows; never counted as nothing")),
)

SHOP_WORDS = (
    # Counted elsewhere, so the catalogue has it with its plural: it cannot be marked alone too.
    ("arc", N_("one burning of the torch, from on to off")),
    (N_("nest, contour"), N_("a cut program for one sheet, and its numbered cuts")),
    (N_("run, segment"), N_("a nest burnt on one sheet; an unbroken stretch of that")),
    (
        N_("set, piece, tray"),
        N_("the wear parts for one current; one of them; those carried together"),
    ),
    (N_("stoppage, wait"), N_("standing with a reason; standing briefly without one")),
    (N_("shortage"), N_("parts still owed after scrap")),
)
