"""Fields for figures of a cut, in the person's own units."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django import forms

from planning.calc.units import in_from_mm, mm_from_in
from shopfloor.models import Units, User
from shopfloor.web.forms import plain

DIGITS = 4


class FiguresForm(forms.Form):
    """`LENGTHS` names the fields that are lengths (or speeds, a minute) in mm and how they are
    labelled. A figure left as it was shown keeps its last digit."""

    LENGTHS: Mapping[str, str] = {}

    def __init__(self, user: User, data: Any = None, *, initial: dict[str, Any]) -> None:
        self.inch = user.units == Units.INCH
        self.exact = dict(initial)
        told = {k: v for k, v in self.texts_of(initial).items() if v is not None}
        super().__init__(data, initial=told)
        for name, label in self.LENGTHS.items():
            unit = "in" if self.inch else "mm"
            self.fields[name].label = f"{label}, {unit}{'/min' if 'speed' in name else ''}"

    def texts_of(self, known: Mapping[str, Any]) -> dict[str, Any]:
        """Figures as the fields show them: in the person's units, rounded; None: unknown."""
        shown = {
            name: in_from_mm(value) if value is not None and self.inch and name in self.LENGTHS
            else value
            for name, value in known.items()
        }  # fmt: skip
        return {k: plain(round(v, DIGITS)) if isinstance(v, float) else v for k, v in shown.items()}

    def figures(self, *names: str) -> dict[str, Any]:
        """The named fields' values, lengths in mm."""
        return {name: self._figure(name) for name in names}

    def _figure(self, name: str) -> Any:
        value = self.cleaned_data[name]
        if name not in self.changed_data and name in self.exact:
            return self.exact[name]
        return mm_from_in(value) if value is not None and self.inch and name in self.LENGTHS\
            else value  # fmt: skip


def figure(label: str, most: float, *, required: bool = False, help_text: str = "")\
        -> forms.FloatField:  # fmt: skip
    return forms.FloatField(
        label=label, min_value=0, max_value=most, required=required, help_text=help_text
    )
