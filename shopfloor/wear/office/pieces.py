"""Single wear parts: found, searched, looked at, and their whole story."""

from __future__ import annotations

from typing import Any

from django import forms
from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import Http404, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _lazy
from django.views.decorators.http import require_POST

from shopfloor.errors import FloorError
from shopfloor.models import (
    Inspection,
    Piece,
    PieceKind,
    PieceOutlook,
    PieceState,
    SetPart,
    Tray,
    Units,
)
from shopfloor.wear.office.drawer import PartChoice
from shopfloor.wear.pieces import USABLE, piece_inspect, pit_limit_mm
from shopfloor.wear.shelf import (
    MOST_PHOTO_BYTES,
    photo_checked,
    photo_keep,
    photo_read,
    piece_put,
    pieces_found,
)
from shopfloor.wear.story import OPEN, SORTS, pieces_list, story
from shopfloor.web.access import ANY, CHART, COST, FLOOR, PLAN, DeskRequest, may, right
from shopfloor.web.forms import (
    LengthField,
    attempt,
    money_field,
    page_of,
    read_in,
    to_minor,
    upload_bytes,
)
from shopfloor.wording.cautions import CHANGE
from shopfloor.wording.counts import count
from shopfloor.wording.numbers_in import row_number

STATES = (("here", _lazy("here")), *PieceState.choices, ("all", _lazy("all")))
DEEDS = ("lost", "found", "out", "on_tray", "off_tray")


class FoundForm(forms.Form):
    labels = forms.CharField(
        max_length=10_000, widget=forms.Textarea(attrs={"rows": 4}), label=_lazy("Labels"),
        help_text=_lazy("One a line, as they are scanned"),
    )  # fmt: skip
    prior_starts = forms.IntegerField(
        min_value=0, max_value=1_000_000, required=False, label=_lazy("Starts so far"),
        help_text=_lazy("0: unused. Blank: nobody knows, and it stays unknown"),
    )  # fmt: skip
    prior_arc_min = forms.FloatField(
        min_value=0, max_value=1_000_000, required=False, label=_lazy("Arc time so far, min")
    )

    def __init__(self, *args: Any, prices: bool, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        parts = SetPart.objects.select_related("wear_set").order_by("wear_set__current_a", "kind")
        self.fields["part"] = PartChoice(parts, label=_("Part"), empty_label=_("choose"))
        if prices:
            self.fields["price"] = money_field(_("Price of one"))
        self.order_fields(["part", "labels"])


class LookForm(forms.Form):
    pit_mm = LengthField(min_value=0, max_value=10, required=False, label=_lazy("Pit depth"))
    orifice_round = forms.NullBooleanField(
        required=False, label=_lazy("Orifice round"),
        widget=forms.Select(
            choices=[("", _lazy("not looked at")), ("true", _lazy("yes")), ("false", _lazy("no"))]
        ),
    )  # fmt: skip
    note = forms.CharField(max_length=200, required=False)
    photo = forms.FileField(required=False, help_text=_lazy("JPEG, PNG or WebP, up to 16 MB"))


@right(*ANY)
def pieces(request: DeskRequest) -> HttpResponse:
    text = request.GET.get("q", "").strip()[:80]
    state = request.GET.get("state", "here")
    rows = pieces_list(text=text, state="" if state == "all" else state)
    return render(
        request, "wear/pieces.html",
        {"page_obj": page_of(request, rows, SORTS), "text": text, "state": state,
         "states": STATES, "may_plan": may(request.user, PLAN)},
    )  # fmt: skip


@right(*ANY)
def piece(request: DeskRequest, pk: int) -> HttpResponse:
    rows = Piece.objects.select_related("part__wear_set", "outlook", "tray", "receipt")
    found = get_object_or_404(rows, pk=pk)
    limit_mm = pit_limit_mm(found) if found.part.kind == PieceKind.ELECTRODE else None
    trays = Tray.objects.filter(wear_set=found.part.wear_set_id).order_by("label")
    return render(
        request, "wear/piece.html",
        {"piece": found, "outlook": getattr(found, "outlook", None) or PieceOutlook(),
         "page_obj": page_of(request, story(found)), "limit_mm": limit_mm,
         "here": found.state in OPEN,
         "trays": trays, "free": found.state in USABLE, "lost": found.state == PieceState.LOST,
         "prices": may(request.user, COST, CHART), "cost": may(request.user, COST),
         "may_act": may(request.user, PLAN, FLOOR), "caution": CHANGE.to_reader()},
    )  # fmt: skip


@right(PLAN)
def add(request: DeskRequest) -> HttpResponse:
    form = FoundForm(request.POST or None, prices=may(request.user, COST, CHART))
    if request.method == "POST" and form.is_valid():
        told = form.cleaned_data
        minutes = told["prior_arc_min"]
        arc_s = 0.0 if told["prior_starts"] == 0 else None
        made: list[Piece] = []
        if attempt(
            form,
            lambda: made.extend(pieces_found(
                part=told["part"], labels=told["labels"].splitlines(),
                prior_starts=told["prior_starts"],
                prior_arc_s=arc_s if minutes is None else minutes * 60.0,
                price_minor=to_minor(told.get("price")),
            )),
        ):  # fmt: skip
            messages.success(
                request,
                _("On record: {pieces}.").format(
                    pieces=count(len(made), "{n} piece", "{n} pieces")
                ),
            )
            return redirect("pieces")
    return render(
        request, "web/form.html",
        {"form": form, "heading": _("Pieces already here"), "back": "pieces",
         "sub": _("in the drawer or on a tray, new or used"), "submit": _("Put on record")},
    )  # fmt: skip


@right(PLAN, FLOOR)
@require_POST
def act(request: DeskRequest, pk: int) -> HttpResponse:
    found = get_object_or_404(Piece, pk=pk)
    do = request.POST.get("do", "")
    asked = row_number(request.POST.get("tray", ""))
    tray = Tray.objects.filter(pk=asked).first() if asked is not None else None
    if do in DEEDS:
        try:
            piece_put(piece=found, do=do, tray=tray)
        except ValidationError as problem:
            messages.error(request, " ".join(problem.messages))
    return redirect("piece", pk)


@right(PLAN, FLOOR)
def look(request: DeskRequest, pk: int) -> HttpResponse:
    found = get_object_or_404(Piece.objects.select_related("part__wear_set"), pk=pk)
    form = LookForm(request.POST or None, request.FILES or None)
    read_in(form, inch=request.user.units == Units.INCH)
    if (
        request.method == "POST"
        and form.is_valid()
        and attempt(form, lambda: _looked(found, request, form.cleaned_data))
    ):
        messages.success(request, _("Kept: what was seen of {piece}.").format(piece=found.label))
        return redirect("piece", pk)
    return render(
        request, "wear/look.html",
        {"form": form, "piece": found, "caution": CHANGE.to_reader()},
    )  # fmt: skip


def _looked(found: Piece, request: DeskRequest, told: dict[str, Any]) -> None:
    raw = upload_bytes(told["photo"], MOST_PHOTO_BYTES) if told["photo"] else None
    if raw is not None:
        photo_checked(raw)
    note = told["note"] or (_("photo") if raw is not None else "")
    try:
        inspection, _due = piece_inspect(
            piece=found, by=request.user, at=timezone.now(), pit_mm=told["pit_mm"],
            orifice_round=told["orifice_round"], note=note,
        )  # fmt: skip
    except FloorError as problem:
        raise ValidationError(str(problem)) from problem
    if raw is not None:
        photo_keep(inspection=inspection, raw=raw)


@right(*ANY)
def photo(request: DeskRequest, pk: int) -> HttpResponse:
    """The photo as it came, to be saved: never shown inside our own pages."""
    found = get_object_or_404(Inspection, pk=pk)
    raw = photo_read(inspection=found) if found.photo else None
    if raw is None:
        raise Http404
    ending = (found.photo.name or "").rpartition(".")[2]
    response = HttpResponse(raw, content_type="application/octet-stream")
    response["Content-Disposition"] = f'attachment; filename="inspection-{found.pk}.{ending}"'
    return response
