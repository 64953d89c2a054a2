"""Figures as desk pages print them. Unknown is a word, never 0."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from django import template
from django.utils import timezone
from django.utils.html import format_html
from django.utils.safestring import SafeString, mark_safe

from planning.calc import said
from planning.calc.cost import PLAN_KINDS
from planning.calc.units import ft_from_mm, in_from_mm, lb_from_kg
from shopfloor.models import DrawingPlan, NestPlan, PieceKind, RateKind, RunState, SheetState, Units
from shopfloor.selectors.nest_doubts import refusal_of
from shopfloor.selectors.sources import instant
from shopfloor.visible import visible

register = template.Library()
LEFT_AS_IS = ("checkbox", "hidden")
UNKNOWN = mark_safe('<span class="unknown">unknown</span>')
WORDS = {
    str(code): str(label)
    for kind in (SheetState, PieceKind, RateKind, RunState)
    for code, label in kind.choices
}


@register.filter
def alone(name: object) -> SafeString:
    """A name on paper: whatever letters it is written in, they order nothing beside them."""
    return format_html("<bdi>{}</bdi>", visible(str(name)))


@register.filter
def minutes(seconds: float | str | None) -> str | SafeString:
    """Seconds as minutes: 74.3 min, 2 h 05 min from two hours on."""
    if seconds is None or seconds == "":
        return UNKNOWN
    taken = float(seconds)
    whole = round(taken / 60)
    if whole >= 120:
        return f"{whole // 60} h {whole % 60:02d} min"
    return f"{taken / 60:.1f} min"


@register.filter
def part_time(seconds: float | str | None) -> str | SafeString:
    """What one part takes: seconds below a minute, where 0.0 min would say nothing."""
    if seconds is None or seconds == "" or float(seconds) >= 60:
        return minutes(seconds)
    return f"{float(seconds):.1f} s"


@register.filter
def size(mm: float | None, user: Any = None) -> str | SafeString:
    """A length of a part or sheet in mm, or inches for people who chose them."""
    if mm is None:
        return UNKNOWN
    if _inch(user):
        return f"{in_from_mm(mm):.2f} in"
    return f"{mm:.0f} mm" if mm >= 100 else f"{mm:g} mm"


@register.filter
def fine(mm: float | None, user: Any = None) -> str | SafeString:
    """A length measured to hundredths of a mm, or to tenths of a thousandth of an inch."""
    if mm is None:
        return "–"
    return f"{in_from_mm(mm):.4f} in" if _inch(user) else f"{mm:.2f} mm"


@register.filter
def fine_figure(mm: float | None, user: Any = None) -> str:
    """A small length without its unit, for a column that names it; "?" where it is unknown."""
    if mm is None:
        return "?"
    return f"{in_from_mm(mm):.3f}" if _inch(user) else f"{mm:.2f}".rstrip("0").rstrip(".")


@register.filter
def place(mm: float | None, user: Any = None) -> str | SafeString:
    """A coordinate of a program: tenths of a mm, or thousandths of an inch."""
    if mm is None:
        return UNKNOWN
    figure = f"{in_from_mm(mm):.3f}" if _inch(user) else f"{mm:.1f}".removesuffix(".0")
    return figure.replace("-", "−")


@register.filter
def fine_signed(mm: float, user: Any = None) -> str:
    return f"{'−' if mm < 0 else '+'}{fine(abs(mm), user)}"


@register.filter
def distance(mm: float | None, user: Any = None) -> str | SafeString:
    """A length of cut or travel in m, or feet."""
    if mm is None:
        return UNKNOWN
    return f"{ft_from_mm(mm):.1f} ft" if _inch(user) else f"{mm / 1000:.2f} m"


@register.filter
def speed(mm_min: float | None, user: Any = None) -> str | SafeString:
    if mm_min is None:
        return UNKNOWN
    return f"{in_from_mm(mm_min):.0f} in/min" if _inch(user) else f"{mm_min:.0f} mm/min"


@register.filter
def speed_figure(mm_min: float, user: Any = None) -> str:
    """A speed without its unit, for a column that names it."""
    return f"{in_from_mm(mm_min):.0f}" if _inch(user) else f"{mm_min:.0f}"


@register.filter
def accel(mm_s2: float | None, user: Any = None) -> str | SafeString:
    if mm_s2 is None:
        return UNKNOWN
    return f"{in_from_mm(mm_s2):.1f} in/s²" if _inch(user) else f"{mm_s2:.0f} mm/s²"


@register.filter
def area(mm2: float | None, user: Any = None) -> str | SafeString:
    if mm2 is None:
        return UNKNOWN
    if _inch(user):
        return f"{in_from_mm(in_from_mm(mm2)) / 144:.2f} ft²"
    return f"{mm2 / 1e6:.3f} m²" if mm2 >= 10_000 else f"{mm2 / 100:.1f} cm²"


@register.filter
def weight(kg: float | None, user: Any = None) -> str | SafeString:
    if kg is None:
        return UNKNOWN
    figure, unit = (lb_from_kg(kg), "lb") if _inch(user) else (kg, "kg")
    return f"{figure:.1f} {unit}" if figure >= 100 else f"{figure:.3g} {unit}"


@register.simple_tag(takes_context=True)
def money(context: dict[str, Any], minor: int | None, blank: str = "") -> str | SafeString:
    """Minor units in the shop's currency, digits grouped; `blank` stands for none."""
    if minor is None:
        return blank or UNKNOWN
    return money_text(minor, context["shop"].currency_digits)


def money_text(minor: int, digits: int) -> str:
    sign, figure = ("−" if minor < 0 else ""), abs(minor)
    if not digits:
        return f"{sign}{figure:,}"
    whole, part = divmod(figure, 10**digits)
    return f"{sign}{whole:,}.{part:0{digits}d}"


@register.filter
def when(moment: datetime | None, blank: str = "") -> str | SafeString:
    """A moment in the shop's zone: Thu 8 Oct 13:30, with the year where it is another."""
    if moment is None:
        return blank or UNKNOWN
    local = timezone.localtime(moment)
    year = "" if local.year == timezone.localtime().year else f" {local.year}"
    return f"{local:%a} {local.day} {local:%b}{year} {local:%H:%M}"


@register.filter
def age(moment: datetime | None) -> str | SafeString:
    """How long ago: 18 min, 3 h 10 min, 4 days."""
    if moment is None:
        return UNKNOWN
    return seconds_text((timezone.now() - moment).total_seconds())


@register.filter
def seconds_text(seconds: float | None) -> str | SafeString:
    """A span in words a person reads at a glance."""
    if seconds is None:
        return UNKNOWN
    s = max(0, round(seconds))
    if s < 90:
        return f"{s} s"
    if s < 7200:
        return f"{s // 60} min"
    if s < 172_800:
        return f"{s // 3600} h {s % 3600 // 60:02d} min"
    return f"{s // 86_400} days"


@register.filter
def clock(us: int | None) -> str | SafeString:
    """A clock's error in microseconds as seconds."""
    return UNKNOWN if us is None else f"{us / 1e6:.1f} s"


@register.filter
def minutes_figure(seconds: float | None) -> float | None:
    """Seconds as minutes with one place, for a column or a sentence that names the unit."""
    return None if seconds is None else round(seconds / 60, 1)


@register.filter
def signed(figure: float | None) -> str | SafeString:
    """A difference with its sign."""
    if figure is None:
        return UNKNOWN
    return f"+{figure:g}" if figure > 0 else f"−{-figure:g}" if figure < 0 else "no difference"


@register.filter
def clock_off(us: int | None) -> str | SafeString:
    """A clock's error in one cell: 420 s slow, 3 s fast, right."""
    if us is None:
        return UNKNOWN
    if abs(us) < 1_000_000:
        return "right"
    return f"{abs(us) / 1e6:.0f} s {'slow' if us > 0 else 'fast'}"


@register.filter
def behind(us: int) -> str:
    """A clock's error as part of a sentence."""
    return f"{abs(us) / 1e6:.1f} s {'behind' if us >= 0 else 'ahead of'} this machine"


@register.filter
def behind_s(seconds: float) -> str:
    """A device's clock against the shop's: 3 min fast."""
    size = seconds_text(abs(seconds))
    return f"{size} {'fast' if seconds > 0 else 'slow'}"


@register.filter
def moment(us: int | None) -> datetime | None:
    """Microseconds since 1970 as a moment."""
    return instant(us)


@register.filter
def words(code: str) -> str:
    """A state or kind as it is said: in_stock is "in stock"."""
    return WORDS.get(code, code.replace("_", " "))


@register.filter
def arc_on(plan: NestPlan) -> float | None:
    """Seconds the arc burns by a plan: piercing and cutting."""
    if plan.cut_s is None or plan.pierce_s is None:
        return None
    return plan.cut_s + plan.pierce_s


@register.filter
def cost_sum(plan: NestPlan | DrawingPlan) -> int | None:
    """What a plan costs without material, in minor units; None where a part of it is unknown."""
    amounts = [plan.costs_minor.get(kind) for kind in PLAN_KINDS]
    known = [amount for amount in amounts if isinstance(amount, int)]
    return sum(known) if len(known) == len(amounts) else None


@register.filter
def thick(mm: float, user: Any) -> str:
    """A plate's thickness: thousandths of a mm, or of an inch."""
    return f"{in_from_mm(mm):.3f} in" if _inch(user) else f"{mm:.3f} mm"


@register.filter
def leaves_open(form: Any) -> bool:
    """Whether a form has both: what it needs, and what may be left blank."""
    asked = [each.field.required for each in form if each.widget_type not in LEFT_AS_IS]
    return any(asked) and not all(asked)


@register.filter
def in_units(sentence: dict[str, Any], user: Any) -> str:
    """A stored note with its lengths in the reader's unit."""
    return said.in_units(sentence, inch=_inch(user))


@register.filter
def refusal(plan: NestPlan | DrawingPlan, user: Any) -> str:
    """Why there is no plan, in the reader's unit where the reason has lengths."""
    return as_read(refusal_of(plan), user)


@register.filter
def as_read(text: str, user: Any) -> str:
    """The same of one that is not stored yet."""
    return said.in_units(said.stored(text), inch=_inch(user))


def _inch(user: Any) -> bool:
    return getattr(user, "units", "") == Units.INCH
