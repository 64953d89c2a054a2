"""Wear parts in the drawer: receiving, orders, and what is to be bought."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django import forms
from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _lazy
from django.views.decorators.http import require_POST

from planning.calc.said import to_reader
from shopfloor.chart.parts import part_share, stock_parts
from shopfloor.files.fault import Fault
from shopfloor.files.read_list import ENCODINGS, MAX_BYTES, ListError
from shopfloor.models import PartOrder, SetPart, Units
from shopfloor.site.queries import shift_date_of
from shopfloor.wear.buying import (
    LIST_COLUMNS,
    Bought,
    order_end,
    part_order,
    parts_receive,
    read_receipt,
)
from shopfloor.wear.drawer import WEEKS, drawer, open_orders
from shopfloor.wear.plate_to_buy import plates_to_buy
from shopfloor.web.access import ANY, CHART, COST, PLAN, DeskRequest, may, right
from shopfloor.web.forms import DayField, attempt, money_field, refused, to_minor, upload_bytes
from shopfloor.wording.counts import count

if TYPE_CHECKING:
    _Choice = forms.ModelChoiceField[SetPart]
else:
    _Choice = forms.ModelChoiceField


class PartChoice(_Choice):
    def label_from_instance(self, obj: Any) -> str:
        return f"{obj.wear_set}, {obj.name}"


def _part_field(**more: Any) -> PartChoice:
    parts = stock_parts().select_related("wear_set").order_by("wear_set__current_a", "kind")
    return PartChoice(parts, label=_("Part"), empty_label=_("choose"), **more)


class ReceiveForm(forms.Form):
    """One part, or a list of many."""

    quantity = forms.IntegerField(min_value=1, max_value=10_000, required=False)
    received_on = DayField(label=_lazy("Came on"))
    note = forms.CharField(
        max_length=120, required=False, help_text=_lazy("Supplier, delivery note")
    )
    listed = forms.CharField(
        required=False, max_length=200_000, strip=True, label=_lazy("Or a list, pasted"),
        widget=forms.Textarea(attrs={"rows": 6}),
        help_text=_lazy("First row: set, kind, quantity, price; comma, semicolon or tab between"),
    )  # fmt: skip
    file = forms.FileField(
        required=False, label=_lazy("Or as a file"),
        help_text=_lazy("CSV or XLSX with the same columns"),
    )  # fmt: skip
    encoding = forms.ChoiceField(choices=[(c, c) for c in ENCODINGS], label=_lazy("Letters in"))

    def __init__(self, *args: Any, prices: bool, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["part"] = _part_field(required=False)
        order = ["part", "quantity"]
        if prices:
            self.fields["price"] = money_field(_("Price of one"))
            order.append("price")
        self.order_fields(order)

    def clean(self) -> dict[str, Any]:
        told = super().clean() or self.cleaned_data
        ways = [bool(told.get("part")), bool(told.get("listed")), bool(told.get("file"))]
        if sum(ways) != 1:
            raise ValidationError(_("Give one part, or one list."))
        if ways[0] and not told.get("quantity"):
            self.add_error("quantity", _("How many came?"))
        return told


class OrderForm(forms.Form):
    quantity = forms.IntegerField(min_value=1, max_value=10_000)
    expected_on = DayField(required=False, label=_lazy("Expected on"))
    note = forms.CharField(max_length=120, required=False, help_text=_lazy("Supplier, number"))

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["part"] = _part_field()
        self.order_fields(["part"])


@right(*ANY)
def parts(request: DeskRequest) -> HttpResponse:
    rows = drawer(now=timezone.now())
    return render(
        request, "wear/drawer.html",
        {"rows": rows, "orders": open_orders(), "short": [row for row in rows if row.short],
         "low": [row for row in rows if row.low and not row.short], "most_weeks": WEEKS,
         "prices": may(request.user, COST, CHART), "may_plan": may(request.user, PLAN)},
    )  # fmt: skip


@right(*ANY)
def purchase(request: DeskRequest) -> HttpResponse:
    """What is to be bought: wear parts, and plate beside them."""
    rows = [row for row in drawer(now=timezone.now()) if row.buy]
    plate = plates_to_buy(inch=request.user.units == Units.INCH)
    return render(
        request, "wear/purchase.html",
        {"rows": rows, "plates": plate, "total": sum(row.buy_minor for row in rows),
         "prices": may(request.user, COST, CHART), "may_plan": may(request.user, PLAN)},
    )  # fmt: skip


@right(PLAN)
def receive(request: DeskRequest) -> HttpResponse:
    today = shift_date_of(timezone.now())
    form = ReceiveForm(
        request.POST or None, request.FILES or None, prices=may(request.user, COST, CHART),
        initial={"received_on": today},
    )  # fmt: skip
    faults: list[Fault] = []
    if request.method == "POST" and form.is_valid():
        bought, faults = _bought(form)
        told = form.cleaned_data
        if bought and attempt(
            form,
            lambda: parts_receive(
                bought=bought, day=told["received_on"], note=told["note"], by=request.user
            ),
        ):
            pieces = sum(one.quantity for one in bought)
            messages.success(
                request,
                _("In the drawer: {parts}.").format(parts=count(pieces, "{n} part", "{n} parts")),
            )
            return redirect("parts")
    return render(
        request, "wear/receive.html",
        {"form": form, "faults": faults, "columns": [_(name) for name in LIST_COLUMNS]},
    )  # fmt: skip


def _bought(form: ReceiveForm) -> tuple[list[Bought], list[Fault]]:
    told = form.cleaned_data
    if told.get("part"):
        return [Bought(told["part"], told["quantity"], to_minor(told.get("price")))], []
    where = "file" if told.get("file") else "listed"
    try:
        raw = (
            upload_bytes(told["file"], MAX_BYTES)
            if where == "file"
            else told["listed"].encode(told["encoding"], "replace")
        )
        found, faults = read_receipt(raw, encoding=told["encoding"])
    except ListError as problem:
        form.add_error(where, f"{problem.line}: {to_reader(problem.message, inch=False)}")
        return [], []
    except ValidationError as problem:
        refused(form, problem)
        return [], []
    if "price" not in form.fields and any(one.price_minor is not None for one in found):
        form.add_error(where, _("Prices are set by who may see costs: leave their column out."))
        return [], []
    if faults:
        form.add_error(where, _("Nothing was taken: correct the rows below and send it again."))
    return found, faults


@right(PLAN)
def order(request: DeskRequest) -> HttpResponse:
    asked = {name: request.GET.get(name, "") for name in ("part", "quantity")}
    form = OrderForm(request.POST or None, initial=asked)
    if request.method == "POST" and form.is_valid():
        told = form.cleaned_data
        day = shift_date_of(timezone.now())
        if attempt(form, lambda: part_order(day=day, by=request.user, **told)):
            messages.success(request, _("On order: {part}.").format(part=told["part"].name))
            return redirect("parts")
    return render(
        request, "web/form.html",
        {"form": form, "heading": _("Order parts"), "submit": _("On order"), "back": "purchase",
         "sub": _("Kerfbook keeps the order; it sends it to nobody")},
    )  # fmt: skip


@right(PLAN)
@require_POST
def end_order(request: DeskRequest, pk: int) -> HttpResponse:
    order_end(order=get_object_or_404(PartOrder, pk=pk), at=timezone.now())
    messages.success(request, _("Nothing more is expected of this order."))
    return redirect("parts")


@right(CHART)
def same(request: DeskRequest, pk: int) -> HttpResponse:
    """One part that fits several sets."""
    part = get_object_or_404(SetPart.objects.select_related("wear_set"), pk=pk)
    others = SetPart.objects.filter(kind=part.kind).exclude(wear_set=part.wear_set_id)
    form = forms.Form(request.POST or None, initial={"same_as": part.same_as_id})
    form.fields["same_as"] = PartChoice(
        others.select_related("wear_set").order_by("wear_set__current_a"), required=False,
        label=_("Same as"), empty_label=_("a part of its own"),
        help_text=_("Both counts are added: one drawer, one price, bought once"),
    )  # fmt: skip
    if (
        request.method == "POST"
        and form.is_valid()
        and attempt(form, lambda: part_share(part=part, same_as=form.cleaned_data["same_as"]))
    ):
        messages.success(request, _("Kept. Count the drawer once more."))
        return redirect("set", part.wear_set_id)
    return render(
        request, "web/form.html",
        {"form": form, "heading": part.name, "sub": str(part.wear_set), "back": "set",
         "back_pk": part.wear_set_id},
    )  # fmt: skip
