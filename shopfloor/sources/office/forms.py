"""The forms of signal sources."""

from __future__ import annotations

from typing import Any

from django import forms
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _lazy

from shopfloor.models import Torch
from shopfloor.sources.services import MAX_SAMPLE_BYTES
from shopfloor.web.forms import WhenField, upload_bytes
from telemetry.feeds.limits import Limits
from telemetry.models import Feed

_EXAMPLE = """table = "north"
torch = "1"
[source]
kind = "csv_file"
path = "{folder}/north/lines.csv"
[line]
format = "columns"
separator = ","
columns = ["seq", "time", "signal", "value"]
[time]
from = "line"
format = "iso"
zone = "America/Chicago"
[signals]
arc_on = ["ARC ON"]
arc_off = ["ARC OFF"]
pierce = ["PIERCE"]
"""


def example_text() -> str:
    """A description to begin with, of a file that may be read."""
    folder = (Limits.of_shop().dirs or ())[0]
    return _EXAMPLE.replace("{folder}", str(folder))


class SourceForm(forms.Form):
    name = forms.RegexField(
        r"^[A-Za-z0-9][A-Za-z0-9._-]{0,59}$",
        help_text=_lazy("Letters, digits, dot, dash; it stays for good"),
    )
    text = forms.CharField(
        label=_lazy("Description (TOML)"), max_length=50_000, strip=False,
        widget=forms.Textarea(attrs={"class": "code", "rows": 22, "spellcheck": "false"}),
    )  # fmt: skip
    pasted = forms.CharField(
        label=_lazy("Lines to try it on"), max_length=MAX_SAMPLE_BYTES, strip=False, required=False,
        widget=forms.Textarea(attrs={"class": "code", "rows": 8, "spellcheck": "false"}),
        help_text=_lazy("Paste some as they come from the table; nothing of them is stored"),
    )  # fmt: skip
    sample = forms.FileField(required=False, label=_lazy("Or a file of them"))

    def clean_text(self) -> str:
        """With the line ends it is kept with, whichever a browser sends."""
        return str(self.cleaned_data["text"]).replace("\r\n", "\n")

    def sample_bytes(self) -> tuple[str, bytes]:
        """What to try the description on: its name and bytes, both empty without any. Raises
        ValidationError where it is too big."""
        upload = self.cleaned_data["sample"]
        if upload is not None:
            return upload.name, upload_bytes(upload, MAX_SAMPLE_BYTES)
        pasted: str = self.cleaned_data["pasted"]
        return (_("the lines pasted") if pasted else ""), pasted.replace("\r\n", "\n").encode()


class ClockForm(forms.Form):
    seconds = forms.FloatField(
        min_value=-400_000, max_value=400_000, label=_lazy("Add to its stamps, s"),
        help_text=_lazy("Whole history; the stamps as written are kept"),
    )  # fmt: skip
    reason = forms.CharField(max_length=200)


class EnteredForm(forms.Form):
    torch = forms.ModelChoiceField(Torch.objects.none(), empty_label=None)
    started_at = WhenField(label=_lazy("From"))
    ended_at = WhenField(label=_lazy("To"))
    starts = forms.IntegerField(min_value=0, max_value=100_000, label=_lazy("Starts"))
    minutes = forms.FloatField(min_value=0, max_value=100_000, label=_lazy("Burning, min"))
    why = forms.CharField(max_length=200, required=False, label=_lazy("How it is known"))

    def __init__(self, feed: Feed, *args: Any, **options: Any) -> None:
        super().__init__(*args, **options)
        torches = Torch.objects.filter(table__code=feed.table)
        choice: Any = self.fields["torch"]
        choice.queryset = torches.filter(code=feed.torch) if feed.torch else torches
        choice.label_from_instance = lambda torch: torch.code


class ClockNowForm(forms.Form):
    since = WhenField(
        required=False, label=_lazy("From when on"),
        help_text=_lazy("By the shop's clock; empty: all of history"),
    )  # fmt: skip
