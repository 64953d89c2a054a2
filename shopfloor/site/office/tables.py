"""Tables: how each one moves and how its control reads a program."""

from __future__ import annotations

from typing import Any

from django import forms
from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _lazy
from django.utils.translation import gettext_noop as N_

from planning.calc.numbers import written
from planning.calc.units import in_from_mm, mm_from_in
from shopfloor.models import Table, Units
from shopfloor.runs.seen_times import table_kinds, table_runs
from shopfloor.runs.table_pauses import pause_proposal
from shopfloor.site.dialect import codes_in, dialect_of
from shopfloor.site.table_history import stale_nests, table_history, tables_list
from shopfloor.site.tables import FIGURES, MOTION, TIMES, dialect_kept, table_set
from shopfloor.web.access import ANY, CHART, FEEDS, DeskRequest, may, right
from shopfloor.web.forms import plain
from shopfloor.web.shown_values import kept_as_shown, shown

UNITS_OF = {
    "accel_mm_s2": "/s²", "rapid_mm_min": "/min", "corner_tolerance_mm": "",
    "accel_x_mm_s2": "/s²", "accel_y_mm_s2": "/s²", "speed_x_mm_min": "/min",
    "speed_y_mm_min": "/min", "jerk_mm_s3": "/s³", "mark_speed_mm_min": "/min",
}  # fmt: skip
LENGTHS = tuple(UNITS_OF)
YES_NO = ("arc_centres_absolute", "inch")
DIALECT = ("dwell_word", "dwell_unit", "arc_centres_absolute", "inch", "comment_marks", "variables")
NAMES = {
    "accel_mm_s2": N_("acceleration, mm/s²"),
    "rapid_mm_min": N_("rapid, mm/min"),
    "corner": N_("corners"),
    "corner_tolerance_mm": N_("corner tolerance, mm"),
    "accel_x_mm_s2": N_("acceleration of X, mm/s²"),
    "accel_y_mm_s2": N_("acceleration of Y, mm/s²"),
    "speed_x_mm_min": N_("top speed of X, mm/min"),
    "speed_y_mm_min": N_("top speed of Y, mm/min"),
    "jerk_mm_s3": N_("jerk, mm/s³"),
    "blocks_per_s": N_("blocks a second"),
    "touch_off_s": N_("touch-off, s"),
    "lift_s": N_("lift, s"),
    "settle_s": N_("settling, s"),
    "mark_speed_mm_min": N_("speed of marking, mm/min"),
    "load_s": N_("loading, s"),
    "unload_s": N_("unloading, s"),
    "change_s": N_("set change, s"),
    "torch_on": N_("lights the torch"),
    "torch_off": N_("puts it out"),
    "dialect": "reading",
}
MARKS = [(";", ";"), (";'", "; or '"), (";!", "; or !"), (";'!", "; or ' or !"), ("'", "'"),
         ("!", "!"), ("none", _lazy("nothing"))]  # fmt: skip


class TableForm(forms.Form):
    accel_mm_s2 = forms.FloatField(
        label=_lazy("Acceleration"), help_text=_lazy("along the path, as the control is set")
    )
    rapid_mm_min = forms.FloatField(label=_lazy("Rapid"))
    corner = forms.ChoiceField(
        choices=[("program", _lazy("as the program says")), ("stop", _lazy("stop at every block")),
                 ("blend", _lazy("round within the tolerance"))],
        label=_lazy("Corners"), help_text=_lazy("G61 stops, G64 rounds"),
    )  # fmt: skip
    corner_tolerance_mm = forms.FloatField(min_value=0, label=_lazy("Corner tolerance"))
    accel_x_mm_s2 = forms.FloatField(
        required=False, label=_lazy("Acceleration of X"),
        help_text=_lazy("blank: no limit of its own"),
    )  # fmt: skip
    accel_y_mm_s2 = forms.FloatField(required=False, label=_lazy("Acceleration of Y"))
    speed_x_mm_min = forms.FloatField(required=False, label=_lazy("Top speed of X"))
    speed_y_mm_min = forms.FloatField(required=False, label=_lazy("Top speed of Y"))
    jerk_mm_s3 = forms.FloatField(
        required=False, label=_lazy("Jerk"),
        help_text=_lazy("how fast acceleration changes; blank: at once"),
    )  # fmt: skip
    blocks_per_s = forms.FloatField(
        required=False, label=_lazy("Blocks the control reads a second"),
        help_text=_lazy("short moves wait for the next block; blank: no limit"),
    )  # fmt: skip
    touch_off_s = forms.FloatField(
        min_value=0, max_value=600, required=False, label=_lazy("Touch-off a pierce, s"),
        help_text=_lazy("blank: the chart row’s"),
    )  # fmt: skip
    lift_s = forms.FloatField(
        min_value=0, max_value=600, required=False, label=_lazy("Lift after a cut, s"),
        help_text=_lazy("counted with touch-off; 0: in the touch-off already"),
    )  # fmt: skip
    settle_s = forms.FloatField(
        min_value=0, max_value=600, required=False, label=_lazy("Height control settles, s"),
        help_text=_lazy("after each pierce, torch burning; 0: in the pierce delay already"),
    )  # fmt: skip
    load_s = forms.FloatField(min_value=0, max_value=86_400, label=_lazy("Loading a sheet, s"))
    unload_s = forms.FloatField(min_value=0, max_value=86_400, label=_lazy("Unloading it, s"))
    change_s = forms.FloatField(min_value=0, max_value=86_400, label=_lazy("Changing the set, s"))
    torch_on = forms.CharField(
        max_length=20,
        label=_lazy("Lights the torch"),
        help_text=_lazy("M3, or M3 M7 where either does"),
    )
    torch_off = forms.CharField(max_length=20, label=_lazy("Puts it out"))
    torch_mark = forms.CharField(
        max_length=20, required=False, label=_lazy("Lights it to mark"),
        help_text=_lazy("M7, say; blank: nothing marks"),
    )  # fmt: skip
    mark_speed_mm_min = forms.FloatField(
        required=False, label=_lazy("Speed of marking"),
        help_text=_lazy("blank: the program’s F, else as cuts"),
    )  # fmt: skip
    dwell_word = forms.ChoiceField(
        choices=[("P", "P"), ("X", "X")], label=_lazy("A dwell’s time is in")
    )
    dwell_unit = forms.ChoiceField(
        choices=[("s", _lazy("seconds")), ("ms", _lazy("milliseconds"))], label=_lazy("and counts")
    )
    arc_centres_absolute = forms.ChoiceField(
        choices=[("no", _lazy("from the arc’s start")), ("yes", _lazy("from zero"))],
        label=_lazy("I and J are"),
        help_text=_lazy("until the program says G90.1 or G91.1"),
    )
    inch = forms.ChoiceField(
        choices=[("no", _lazy("millimetres")), ("yes", _lazy("inches"))],
        label=_lazy("A program is in"),
        help_text=_lazy("until the program says G20 or G21"),
    )  # fmt: skip
    comment_marks = forms.ChoiceField(
        choices=MARKS,
        label=_lazy("The rest of a line is a comment after"),
        help_text=_lazy("beside ( )"),
    )
    variables = forms.BooleanField(
        required=False, label=_lazy("Variables are read"), help_text=_lazy("#1=12.5, then X#1")
    )
    why = forms.CharField(max_length=200, help_text=_lazy("kept beside the change"))

    def __init__(self, table: Table, *, inch: bool, data: Any = None) -> None:
        self.table, self.shown_inch = table, inch
        super().__init__(data, initial=table_known(table, inch=inch))
        unit = "in" if inch else "mm"
        for name, words in UNITS_OF.items():
            self.fields[name].label = f"{self.fields[name].label}, {unit}{words}"

    def values(self) -> dict[str, Any]:
        """What was changed, in mm: a figure left alone keeps its last digit."""
        told = self.cleaned_data
        names = (*MOTION, *TIMES, "torch_on", "torch_off")
        values: dict[str, Any] = {name: told[name] for name in names if name in self.changed_data}
        if self.shown_inch:
            values |= {
                name: mm_from_in(values[name]) for name in LENGTHS if values.get(name) is not None
            }
        values |= {name: values[name] or 0.0 for name in ("lift_s", "settle_s") if name in values}
        if "corner" in values:
            values["corner"] = "" if told["corner"] == "program" else told["corner"]
        reading = {name: told[name] for name in DIALECT}
        reading |= {name: told[name] == "yes" for name in YES_NO}
        reading["torch_mark"] = codes_in(told["torch_mark"])
        reading["comment_marks"] = told["comment_marks"].removeprefix("none")
        kept = dialect_of(self.table)
        if kept.arc_tolerance_mm is not None:
            reading["arc_tolerance_mm"] = kept.arc_tolerance_mm
        return {**values, "dialect": dialect_kept(reading)}


def table_known(table: Table, *, inch: bool) -> dict[str, Any]:
    """A table's figures as its form shows them."""
    known = dialect_of(table)
    initial: dict[str, Any] = {name: getattr(table, name) for name in FIGURES}
    initial |= {name: getattr(known, name) for name in DIALECT}
    initial["torch_mark"] = " ".join(known.torch_mark)
    initial |= {name: "yes" if initial[name] else "no" for name in YES_NO}
    initial["comment_marks"] = known.comment_marks or "none"
    initial["corner"] = table.corner or "program"
    if inch:
        initial |= {
            name: round(in_from_mm(initial[name]), 4)
            for name in LENGTHS
            if initial[name] is not None
        }
    return {name: plain(value) for name, value in initial.items()}


@right(*ANY)
def tables(request: DeskRequest) -> HttpResponse:
    rows = [(table, dialect_of(table), stale_nests(table).count()) for table in tables_list()]
    return render(
        request,
        "site/tables.html",
        {"rows": rows, "may_add": may(request.user, CHART, FEEDS)},
    )


@right(*ANY)
def table(request: DeskRequest, pk: int) -> HttpResponse:
    found = get_object_or_404(Table, pk=pk)
    may_edit = may(request.user, CHART)
    if request.method == "POST" and not may_edit:
        raise PermissionDenied
    inch = request.user.units == Units.INCH
    form = TableForm(found, inch=inch, data=request.POST or None) if may_edit else None
    if form is not None and request.method == "POST" and form.is_valid():
        done: list[tuple[str, ...]] = []
        values, why = form.values(), form.cleaned_data["why"]
        if kept_as_shown(
            request, form, found,
            lambda: table_known(Table.objects.get(pk=pk), inch=inch),
            lambda: done.append(table_set(table=found, why=why, **values)),
        ):  # fmt: skip
            messages.success(
                request,
                _("Changed: {done}. Nests are planned again.").format(
                    done=", ".join(_(NAMES[name]) for name in done[0])
                )
                if done[0]
                else _("Nothing was changed."),
            )
            return redirect("table_figures", pk)
    found.refresh_from_db()
    runs = table_runs(found)
    return render(
        request, "site/table.html",
        {"table": found, "reading": dialect_of(found), "form": form,
         "shown": shown(form, found, table_known(found, inch=inch)) if form else "",
         "stale": stale_nests(found), "history": _told(found), "seen": table_kinds(runs),
         "proposal": pause_proposal(found, runs)},
    )  # fmt: skip


def _told(table: Table) -> list[dict[str, Any]]:
    return [
        {
            "at": change.at,
            "who": change.who,
            "why": change.why,
            "rows": [
                (_(NAMES[name]), _shown(old), _shown(new)) for name, old, new in change.changes
            ],
        }
        for change in table_history(table)
    ]


def _shown(value: Any) -> str:
    if isinstance(value, dict):
        words = [f"{name.replace('_', ' ')} {word!s}" for name, word in value.items()]
        return "; ".join(words) or "ISO 6983"
    if value is None or value == "":
        return "blank"
    return written(value, "g") if isinstance(value, float) else str(value)
