"""Fields for figures of a cut, in the person's own units."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from django import forms

from planning.calc.units import in_from_mm, mm_from_in
from shopfloor.chart.cut_settings import BY_NAME, CutSetting, capitalised
from shopfloor.models import Units, User
from shopfloor.web.forms import plain
from shopfloor.wording.labels import Label

DIGITS = 4


class FiguresForm(forms.Form):
    """A field for each of `SETTINGS`, placed by Django's `field_order`. A figure left as it was
    shown keeps its last digit."""

    SETTINGS: Iterable[CutSetting] = ()
    TRIAL = False  # a trial measures some of them
    HINTS: Mapping[str, Label] = {}  # in place of a setting's own

    def __init__(self, user: User, data: Any = None, *, initial: dict[str, Any]) -> None:
        self.user = user
        self.inch = user.units == Units.INCH
        self.exact = dict(initial)
        told = {k: v for k, v in self.texts_of(initial).items() if v is not None}
        super().__init__(data, initial=told)
        for setting in self.SETTINGS:
            self.fields[setting.name] = self._field(setting)
        self.order_fields(self.field_order)

    def texts_of(self, known: Mapping[str, Any]) -> dict[str, Any]:
        """Figures as the fields show them: in the person's units, rounded; None: unknown."""
        shown = {
            name: in_from_mm(value) if value is not None and self._in_inches(name) else value
            for name, value in known.items()
        }
        return {k: plain(round(v, DIGITS)) if isinstance(v, float) else v for k, v in shown.items()}

    def figures(self) -> dict[str, Any]:
        """The values of the settings, lengths in mm."""
        return {setting.name: self._figure(setting.name) for setting in self.SETTINGS}

    def _figure(self, name: str) -> Any:
        value = self.cleaned_data[name]
        if name not in self.changed_data and name in self.exact:
            return self.exact[name]
        return mm_from_in(value) if value is not None and self._in_inches(name) else value

    def _in_inches(self, name: str) -> bool:
        return name in BY_NAME and BY_NAME[name].in_inches(self.user)

    def _field(self, setting: CutSetting) -> forms.FloatField:
        label = setting.labelled(self.user, measured=self.TRIAL)
        return forms.FloatField(
            label=capitalised(label), min_value=0,
            max_value=in_from_mm(setting.most) if self._in_inches(setting.name) else setting.most,
            required=setting.needed, help_text=self.HINTS.get(setting.name, str(setting.hint)),
        )  # fmt: skip
