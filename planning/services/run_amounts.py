"""What a run cost, kind by kind, shared between its job lines to the cent."""

from __future__ import annotations

from collections.abc import Iterable
from fractions import Fraction

from django.utils.translation import gettext as _

from planning.calc import allocation as a
from planning.calc.cost import RateBook, energy_kwh, remnant_credit, rounded, time_amount
from planning.calc.spans import intersect, length, union
from planning.inputs.types import ContourIn, RunIn
from planning.services.entered_runs import Entered, entered_burning, planned_burning
from planning.services.run_types import CRASH, Amount, Rules, Slot


class RunCosts:
    """Amounts as they are booked, kind by kind, shared out to the cent."""

    def __init__(
        self, run: RunIn, rates: RateBook, time: dict[int | None, float], split: str
    ) -> None:
        self.run = run
        self.rates = rates
        self.time = time
        self.split = split
        self.amounts: dict[Slot, Amount] = {}
        self.unknown: list[str] = []

    def rate(self, kind: str) -> int | None:
        found = self.rates.on(kind, self.run.shift_date, self.run.table_id)
        return found.amount_minor if found else None

    def minor_per_hour(self) -> int | None:
        known = [rate for kind in ("machine", "labour") if (rate := self.rate(kind)) is not None]
        return sum(known) if known else None

    def by_time(self, kind: str, us: int, evidence: str) -> None:
        rate = self.rate(kind)
        if rate is None:
            self.unknown.append(
                _("no {kind} rate on {shift_date}").format(
                    kind=kind, shift_date=self.run.shift_date
                )
            )
        elif us:
            self.share(kind, time_amount(us, rate), us / 1_000_000, "s", evidence)

    def share(
        self,
        kind: str,
        minor: int,
        quantity: float | None,
        unit: str,
        evidence: str,
        weights: dict[int | None, float] | None = None,
    ) -> None:
        weights = weights or self.time
        whole = sum(weights.values())
        shown = evidence if self.split == "measured" or len(weights) == 1 else "planned"
        for line, amount in a.share_out(minor, weights).items():
            part = None if quantity is None else quantity * weights[line] / whole
            self.amounts[Slot(kind, line)] = Amount(amount, part, unit, shown)

    def crash(self, us: int, line: int | None) -> None:
        rate = self.rate("machine")
        if rate is not None:
            slot = Slot(CRASH, line, CRASH)
            self.amounts[slot] = Amount(time_amount(us, rate), us / 1_000_000, "s", "entered")

    def add(self, slot: Slot, minor: int) -> None:
        had = self.amounts.get(slot, Amount(0, None, "", "entered"))
        self.amounts[slot] = Amount(had.minor + minor, had.quantity, had.unit, had.evidence)


def gas_and_energy(book: RunCosts, run: RunIn) -> None:
    """Of the arcs heard and the burning entered. A run of which no arc was heard took what its plan
    says, torch by torch, where a torch was not entered whole: an entry for a part of its time is
    only the least it took."""
    entered = entered_burning(run)
    entered_us = sum(each.burning_us for each in entered.values())
    arc_us = sum(arc.us for arc in run.arcs) + entered_us
    evidence = "entered" if entered_us or not run.arcs else "measured"
    if not run.arcs:
        least_us = entered_us
        for torch, planned_us in planned_burning(run).items():
            known = entered.get(torch, Entered(0, whole=False))
            least_us += 0 if known.whole else max(planned_us - known.burning_us, 0)
        whole = bool(entered) and all(each.whole for each in entered.values())
        if least_us > arc_us:
            arc_us, evidence = least_us, "planned"
        elif not arc_us and not whole:
            book.unknown.append(_("no arcs and no plan: gas and power unknown"))
            return
    gas = book.rate("gas")
    if gas is not None:
        book.share("gas", time_amount(arc_us, gas), arc_us / 1_000_000, "s", evidence)
    price = book.rate("energy")
    if price is None:
        return
    kwh, sampled = _kwh(run, arc_us, entered_us)
    if kwh is None:
        book.unknown.append(_("arc voltage neither measured nor in the chart: power unknown"))
        return
    shown = evidence if sampled else "planned"
    book.share("energy", rounded(Fraction(kwh) * price), kwh, "kWh", shown)


def _kwh(run: RunIn, arc_us: int, entered_us: int) -> tuple[float | None, bool]:
    """kWh, and whether amps and volts of every arc were measured rather than the chart's."""
    chart_v = ((run.plan_fields.get("snapshot") or {}).get("chart") or {}).get("arc_v")
    set_amps = {segment.pk: segment.amps for segment in run.segments}
    if not run.arcs:
        amps = next(iter(set_amps.values()), None)
        if chart_v is None or amps is None:
            return None, False
        return energy_kwh(chart_v, amps, arc_us / 1_000_000), False
    total, sampled = 0.0, not entered_us
    if entered_us:
        amps = next(iter(set_amps.values()), None)
        if chart_v is None or amps is None:
            return None, False
        total = energy_kwh(chart_v, amps, entered_us / 1_000_000)
    for arc in run.arcs:
        volts = arc.volts if arc.volts is not None else chart_v
        amps = arc.amps if arc.amps is not None else set_amps.get(arc.segment_id)
        sampled = sampled and arc.volts is not None and arc.amps is not None
        if volts is None or amps is None:
            return None, False
        total += energy_kwh(volts, amps, arc.us / 1_000_000)
    return total, sampled


def material(book: RunCosts, run: RunIn, rules: Rules, area: dict[int | None, float]) -> None:
    sheet = run.sheet
    if sheet is None:
        book.unknown.append(_("no sheet was named: material unknown"))
        return
    if sheet.customers:
        return  # the customer's own plate: no cost, no yield credit
    if sheet.cost_minor is None:
        book.unknown.append(_("the sheet's cost is not known: material unknown"))
        return
    credit = sum(
        given
        if given is not None
        else remnant_credit(
            sheet.cost_minor,
            sheet.area_mm2,
            left_mm2,
            factor=rules.remnant_factor,
            least_mm2=rules.remnant_least_mm2,
        )
        for left_mm2, given in sheet.remnants
    )
    runs = [run_id for run_id, _ in sheet.burnt]
    place = runs.index(run.run_id) if run.run_id in runs else None
    weights = [mm2 for _, mm2 in sheet.burnt]
    cost = sheet.cost_minor
    if place is not None and len(runs) > 1:
        cost = a.largest_remainder(cost, weights)[place]
        credit = a.largest_remainder(credit, weights)[place]
    used = sum(weight for weight in area.values())
    book.share("material", cost, used, "mm2", "entered", area)
    if credit:
        book.share("credit", -credit, None, "", "entered", area)


def _crash_stops(run: RunIn) -> list[tuple[int, int]]:
    return [(stop.from_us, stop.to_us) for stop in run.stoppages if stop.crash]


def crash_us_of(run: RunIn) -> int:
    return length(intersect(union(_crash_stops(run)), list(run.windows)))


def crash_line_of(run: RunIn) -> int | None:
    """Whose crash it was: the line whose part it spoilt, else the one being cut when it came."""
    spoilt: dict[int, int] = {}
    for scrap in run.scraps:
        if scrap.cause.startswith(CRASH):
            spoilt[scrap.line_id] = spoilt.get(scrap.line_id, 0) + scrap.quantity
    if spoilt:
        return max(sorted(spoilt), key=lambda line: spoilt[line])
    stops = _crash_stops(run)
    ends = [segment.to_us for segment in run.segments if segment.end_reason.startswith(CRASH)]
    when = min([start for start, _ in stops] + ends, default=None)
    if when is None:
        return None
    lines = {contour.number: contour.line_id for contour in run.contours}
    before = [arc for arc in run.arcs if arc.on_us <= when and arc.contour in lines]
    return lines[before[-1].contour or 0] if before else None


def spoilt(book: RunCosts, run: RunIn) -> None:
    """Parts a crash spoilt: what they had cost moves from where it was booked to the crash."""
    lines = sorted({scrap.line_id for scrap in run.scraps if scrap.cause.startswith(CRASH)})
    for line in lines:
        count = sum(
            scrap.quantity
            for scrap in run.scraps
            if scrap.line_id == line and scrap.cause.startswith(CRASH)
        )
        made = _parts_made(c for c in run.contours if c.line_id == line)
        plain = {
            (slot.kind, slot.line): amount.minor
            for slot, amount in book.amounts.items()
            if not slot.cause
        }
        for (kind, owner), minor in a.move_scrap(plain, line, count, made).items():
            book.add(Slot(kind, owner), -minor)
            book.add(Slot(CRASH, line, CRASH), minor)


def _parts_made(contours: Iterable[ContourIn]) -> int:
    """How many parts these contours make: some make several at once."""
    made: dict[tuple[str, int], int] = {}
    for contour in contours:
        key = (contour.part, contour.copy)
        made[key] = max(made.get(key, 1), contour.parts)
    return sum(made.values())
