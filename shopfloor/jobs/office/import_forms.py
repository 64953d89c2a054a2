"""The forms of bringing in a job list."""

from __future__ import annotations

from typing import Any

from django import forms
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _lazy
from django.utils.translation import gettext_noop as N_

from shopfloor.files.read_list import ENCODINGS, Heading
from shopfloor.files.workbook import MAX_CELL, MAX_COLUMNS
from shopfloor.jobs.headings import suggestions
from shopfloor.jobs.list_rows import COLUMNS, DATE_ORDERS, NEEDED

ORDERS = {"none": N_("do not occur"), "month": N_("mean 8 October"), "day": N_("mean 10 August")}
UNREADABLE = N_("The choices for the headings could not be read. Choose them again.")
CODES = {"utf-8": "UTF-8", "cp1252": "Windows-1252"}


class UploadForm(forms.Form):
    file = forms.FileField(
        label=_lazy("Job list"), help_text=_lazy("CSV (comma, semicolon or tab) or XLSX")
    )
    encoding = forms.ChoiceField(
        choices=[(c, CODES[c]) for c in ENCODINGS], label=_lazy("Text encoding")
    )
    date_order = forms.ChoiceField(
        choices=[(order, _lazy(ORDERS[order])) for order in DATE_ORDERS],
        label=_lazy("Dates like 10/08/2026"),
    )


class MeaningField(forms.JSONField):
    def to_python(self, value: Any) -> Any:
        try:
            return super().to_python(value)
        except RecursionError:
            raise forms.ValidationError(_(UNREADABLE)) from None


class ConfirmForm(forms.Form):
    """What the preview was of. The name is for the record; the hash decides."""

    digest = forms.CharField(widget=forms.HiddenInput())
    name = forms.CharField(max_length=160, widget=forms.HiddenInput())
    encoding = forms.ChoiceField(choices=[(c, c) for c in ENCODINGS], widget=forms.HiddenInput())
    date_order = forms.ChoiceField(
        choices=[(o, o) for o in DATE_ORDERS], widget=forms.HiddenInput()
    )
    meaning = MeaningField(required=False, widget=forms.HiddenInput())
    read_as = forms.CharField(max_length=60, required=False, widget=forms.HiddenInput())

    def clean_meaning(self) -> dict[str, str]:
        meaning = self.cleaned_data["meaning"] or {}
        if not isinstance(meaning, dict) or len(meaning) > MAX_COLUMNS:
            raise forms.ValidationError(_(UNREADABLE))
        for heading, column in meaning.items():
            if len(heading) > MAX_CELL or "\0" in heading or not isinstance(column, str):
                raise forms.ValidationError(_(UNREADABLE))
            if column and column not in COLUMNS:
                raise forms.ValidationError(_(UNREADABLE))
        return meaning


class HeadingsForm(forms.Form):
    """A field for each heading, and a name to keep the answers under."""

    keep = forms.CharField(
        max_length=60, required=False, label=_lazy("Save these choices as"),
        help_text=_lazy("Used by itself for the next list with the same headings"),
    )  # fmt: skip

    def __init__(
        self, headings: list[Heading], meaning: dict[str, str], *args: Any, **options: Any
    ) -> None:
        super().__init__(*args, **options)
        self.headings = headings
        choices = [("", _("skip this column")), *((name, name) for name in COLUMNS)]
        for place, column in enumerate(suggestions(headings, meaning)):
            self.fields[f"h{place}"] = forms.ChoiceField(
                choices=choices, required=False, initial=column, label=headings[place].text
            )

    def meaning(self) -> dict[str, str]:
        return {
            heading.plain: self.cleaned_data[f"h{place}"]
            for place, heading in enumerate(self.headings)
        }

    def clean(self) -> dict[str, Any]:
        said: dict[str, Any] = super().clean() or {}
        if self.errors:
            return said
        columns = [name for name in self.meaning().values() if name]
        for name in NEEDED:
            if name not in columns:
                self.add_error(
                    None, _("Choose a heading for {name}: it is needed.").format(name=name)
                )
        for place, heading in enumerate(self.headings):
            column = said.get(f"h{place}")
            every = [said.get(f"h{at}") for at in range(len(self.headings))]
            if column and every.count(column) > 1:
                self.add_error(
                    f"h{place}",
                    _("{text}: {column} is chosen twice.").format(text=heading.text, column=column),
                )
        return said
