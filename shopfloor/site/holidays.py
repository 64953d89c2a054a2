"""Public holidays of the shop's country, offered as closed days. The dates come from the library
`holidays`; a person decides which of them the shop keeps. It takes 0.3 s to import, so only what
asks for them does.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from typing import Final

from django.core.exceptions import ValidationError
from django.utils.translation import gettext as _

from shopfloor.models import ClosedDay, Shop

OFFERED_DAYS: Final = 400  # a year ahead, and the same holiday of the next


@dataclass(frozen=True, slots=True)
class Holiday:
    day: date
    name: str


def country_choices() -> list[tuple[str, str]]:
    """ISO 3166-1 codes the library knows, by English name."""
    from holidays import list_supported_countries
    from holidays.registry import COUNTRIES

    known = list_supported_countries(include_aliases=False)
    names = {
        entry[1]: " ".join(word if word in ("and", "of", "the") else word.title()
                           for word in module.split("_"))
        for module, entry in COUNTRIES.items()
    }  # fmt: skip
    found = sorted((names.get(code, code), code) for code in known)
    return [("", _("none")), *((code, name) for name, code in found)]


def region_checked(country: str, region: str) -> str:
    """The part of a country with holidays of its own, as the library writes it. Raises
    ValidationError for one the country does not have."""
    region = region.strip()
    if not region:
        return ""
    from holidays import list_supported_countries

    known = list_supported_countries(include_aliases=False).get(country, [])
    for one in known:
        if one.casefold() == region.casefold():
            return one
    if not known:
        said = _("No part of this country has holidays of its own here: leave it blank.")
    else:
        said = _("{region!r} is none of {known}.").format(region=region, known=", ".join(known))
    raise ValidationError({"region": said})


def public_holidays(country: str, region: str, first: date, last: date) -> list[Holiday]:
    """Days off by law between two dates, substitutes for weekends among them."""
    from holidays import country_holidays

    years = range(first.year, last.year + 1)
    found = country_holidays(country, subdiv=region or None, years=years)
    return [Holiday(day, found[day]) for day in sorted(found) if first <= day <= last]


def offered(shop: Shop, today: date) -> list[Holiday]:
    """Holidays to come that are not closed yet; none where the shop names no country."""
    if not shop.country:
        return []
    last = today + timedelta(days=OFFERED_DAYS)
    first = today + timedelta(days=1)
    closed = set(ClosedDay.objects.filter(day__gte=first).values_list("day", flat=True))
    coming = public_holidays(shop.country, shop.region, first, last)
    return [one for one in coming if one.day not in closed]
