"""What the office's forms share."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import UTC, date, datetime
from decimal import ROUND_HALF_UP, Decimal
from typing import Any, TypeVar
from zoneinfo import ZoneInfo

from django import forms
from django.core.exceptions import ValidationError
from django.core.files.uploadedfile import UploadedFile
from django.core.paginator import Page, Paginator
from django.db import IntegrityError
from django.db.models import F, QuerySet
from django.http import HttpRequest
from django.utils import timezone
from django.utils.dateparse import parse_datetime
from django.utils.text import format_lazy
from django.utils.translation import gettext as _

from planning.calc.units import MM_PER_IN, mm_from_in
from shopfloor.files.export import MOST_ROWS
from shopfloor.site.calendar import wall_to_utc
from shopfloor.site.queries import shop_zone, the_shop
from shopfloor.web.tables import wanted
from shopfloor.wording.labels import Label

T = TypeVar("T")
PAGE = 50
YEARS = range(2000, 2101)  # as in lists that are brought in
KG_PER_LB = Decimal("0.45359237")  # the international pound, exactly
LENGTH_UNITS = [("mm", "mm"), ("in", "in")]


class LengthField(forms.FloatField):
    """A small length in mm, shown and typed in inches where `inch` says so. What was typed in
    inches is kept to hundredths of a mm, so that a figure left alone stays as it was."""

    units, digits, of_foreign = ("mm", "in"), 2, MM_PER_IN

    def __init__(self, *, label: Label, **kwargs: Any) -> None:
        super().__init__(label=label, **kwargs)
        self.called, self.inch = label, False
        self.read_in(inch=False)

    def read_in(self, *, inch: bool) -> None:
        self.inch = inch
        self.label = format_lazy("{}, {}", self.called, self.units[inch])
        for name in ("min", "max"):
            limit = getattr(self, f"{name}_value")
            if limit is not None:
                self.widget.attrs[name] = str(self.prepare_value(limit))

    def prepare_value(self, value: Any) -> Any:
        if self.inch and isinstance(value, int | float):
            return round(value / self.of_foreign, 4)
        return value

    def to_python(self, value: Any) -> float | None:  # type: ignore[override]
        found = super().to_python(value)
        if found is None or not self.inch or not isinstance(value, str):
            return found
        return round(found * self.of_foreign, self.digits)

    def has_changed(self, initial: Any, data: Any) -> bool:
        return super().has_changed(self.to_python(str(self.prepare_value(initial))), data)


class AreaField(LengthField):
    """The same of an area: m², or ft² kept to a cm²."""

    units, digits, of_foreign = ("m²", "ft²"), 4, (12 * MM_PER_IN / 1000) ** 2


class PriceByWeightField(forms.DecimalField):
    """What a kg costs or brings; shown and typed for a pound where `inch` says so, rounded to the
    currency's minor unit."""

    def __init__(self, *, label: Any, label_lb: Any, **kwargs: Any) -> None:
        super().__init__(label=label, **kwargs)
        self.labels, self.inch = (label, label_lb), False

    def read_in(self, *, inch: bool) -> None:
        self.inch, self.label = inch, self.labels[inch]

    def prepare_value(self, value: Any) -> Any:
        if self.inch and isinstance(value, Decimal):
            return (value * KG_PER_LB).quantize(_minor_unit(), ROUND_HALF_UP)
        return value

    def to_python(self, value: Any) -> Decimal | None:  # type: ignore[override]
        found = super().to_python(value)
        if found is None or not self.inch or not isinstance(value, str) or not found.is_finite():
            return found
        return (found / KG_PER_LB).quantize(Decimal("0.001"), ROUND_HALF_UP)

    def has_changed(self, initial: Any, data: Any) -> bool:
        shown = self.prepare_value(initial)
        return super().has_changed(None if shown is None else self.to_python(str(shown)), data)


def _minor_unit() -> Decimal:
    return Decimal(1).scaleb(-the_shop().currency_digits)


def read_in(form: forms.Form, *, inch: bool) -> None:
    """Has a form's lengths, and prices by weight, shown and typed in the reader's unit."""
    for field in form.fields.values():
        if isinstance(field, LengthField | PriceByWeightField):
            field.read_in(inch=inch)


class When(forms.DateTimeInput):
    """A date and time on the shop's clock, with the browser's own picker."""

    input_type = "datetime-local"

    def __init__(self) -> None:
        super().__init__(format="%Y-%m-%dT%H:%M")


class Day(forms.DateInput):
    input_type = "date"

    def __init__(self) -> None:
        super().__init__(format="%Y-%m-%d")


class WhenField(forms.DateTimeField):
    """A time on the shop's clock, in UTC. Of an hour that comes twice the first is meant, and one
    that is left out moves on, as everywhere else; Django would take neither."""

    widget = When

    def to_python(self, value: Any) -> datetime | None:
        with timezone.override(UTC):
            found = super().to_python(value)
        if found is None or not isinstance(value, str):
            return found
        _within(found)
        said = parse_datetime(value.strip())
        if said is not None and said.tzinfo is not None:
            return said
        return wall_to_utc(found.date(), found.time(), ZoneInfo(shop_zone()))


class DayField(forms.DateField):
    """A date a shop can mean."""

    widget = Day

    def to_python(self, value: Any) -> date | None:
        found = super().to_python(value)
        if found is not None:
            _within(found)
        return found


def _within(day: date) -> None:
    if day.year not in YEARS:
        raise ValidationError(
            _("The year {year} is not within {first} to {last}.").format(
                year=day.year, first=YEARS[0], last=YEARS[-1]
            )
        )


def attempt(form: forms.Form, write: Callable[[], Any]) -> bool:
    """Runs a write; what a service refuses is put on the form, beside its field where the form
    has one of that name. So is what somebody else kept at the same moment."""
    try:
        write()
    except ValidationError as problem:
        refused(form, problem)
        return False
    except IntegrityError:
        said = _(
            "Somebody else kept one like it just now, and this was not kept. Look, then send it."
        )
        refused(form, ValidationError(said))
        return False
    return True


def refused(form: forms.Form, problem: ValidationError) -> None:
    if not hasattr(problem, "error_dict"):
        form.add_error(None, problem.messages)
        return
    for name, errors in problem.message_dict.items():
        field = {"thickness_mm": "thickness_text", "number": "number"}.get(name, name)
        form.add_error(field if field in form.fields else None, errors)


def to_minor(amount: Decimal | None) -> int | None:
    """An amount as typed in minor units of the shop's currency."""
    if amount is None:
        return None
    return int((amount * 10 ** the_shop().currency_digits).to_integral_value(ROUND_HALF_UP))


def from_minor(minor: int | None) -> Decimal | None:
    return None if minor is None else Decimal(minor).scaleb(-the_shop().currency_digits)


def money_field(
    label: Label, *, required: bool = False, help_text: Label = ""
) -> forms.DecimalField:
    return forms.DecimalField(
        label=label,
        required=required,
        min_value=Decimal(0),
        max_digits=12,
        decimal_places=the_shop().currency_digits,
        help_text=help_text,
    )


def to_mm(value: Decimal, unit: str) -> float:
    return mm_from_in(float(value)) if unit == "in" else float(value)


def plain(value: Any) -> Any:
    """A figure as a person would type it: 800, not 800.0. Still the same number to compare by."""
    return int(value) if isinstance(value, float) and value.is_integer() else value


def upload_bytes(upload: UploadedFile[bytes], most: int) -> bytes:
    """An upload's bytes. Raises ValidationError where it is bigger than `most` bytes."""
    if upload.size is None or upload.size > most:
        raise ValidationError(_("The file is over {most} MB.").format(most=most // 1024 // 1024))
    return bytes(upload.read())


def page_of(
    request: HttpRequest, rows: QuerySet[Any, T] | list[T], sorts: Sequence[str] = ()
) -> Page[T]:
    """The page of a list that is asked for; all of it where it is wanted as a file. `sorts` are the
    fields it may be ordered by (`?sort=due_at`, `?sort=-due_at`); what has none stands last."""
    asked = request.GET.get("sort", "")
    field = asked.removeprefix("-")
    if field in sorts and isinstance(rows, QuerySet):
        down = asked.startswith("-")
        by = F(field).desc(nulls_last=True) if down else F(field).asc(nulls_last=True)
        rows = rows.order_by(by, "pk")
    if wanted(request):
        return Paginator(rows, MOST_ROWS).get_page(1)
    return Paginator(rows, PAGE).get_page(request.GET.get("page"))
