"""When a table's work ends, opened: what was drawn, from how many runs, and how far such ranges
have held. A key is that of `today_figures`."""

from __future__ import annotations

from collections.abc import Iterator

from django.utils.translation import gettext as _

from planning.calc.ahead.draws import Spent
from planning.calc.numbers import filled
from planning.calc.said import said
from planning.reports.figure import Figure, Part, Ref
from planning.reports.today_ahead import Ends, Listed
from planning.reports.today_figures import Shown, shown_at
from shopfloor.wording.counts import count
from shopfloor.wording.quantity import seconds, text

RULE = said(
    "the last cut of what will more likely than not be done in this shift (of the next run, where "
    "none will), by the list as it is now: drawn a thousand times from what this table's own runs "
    "took; 80 in 100 end in the range"
)
MORE = 5  # runs named that will not be done


def outlook(key: str) -> Figure:
    """When a table's work really ends."""
    shown = shown_at(key)
    found = shown.row.outlook
    if found is None:
        return shown.figure("outlook", text(_("nothing is left"), "planned"), RULE, [])
    if found.ends is None:
        plan = [Part(_("Planned"), seconds(found.plan_s, "planned"), total=True)]
        return shown.figure("outlook", text(_("end unknown"), "unknown"), RULE, plan)
    ends = found.ends
    parts = [*_planned(ends), *_spent(ends, shown), *_as_planned(shown)]
    parts += [*_rests_on(ends), *_left(ends)]
    value = _words(ends, shown)
    return shown.figure("outlook", text(value, "planned"), RULE, parts)


def _words(ends: Ends, shown: Shown) -> str:
    middle, low, high = (
        _("beyond the calendar") if ends.beyond(at) else shown.clock_day(at)
        for at in (ends.middle, ends.low, ends.high)
    )
    if ends.beyond(ends.low):
        return _("ends beyond the calendar")
    if ends.beyond(ends.high):
        return _("ends {middle}; 90 in 100: after {low}").format(middle=middle, low=low)
    return _("ends {middle}; 80 in 100: between {low} and {high}").format(
        middle=middle, low=low, high=high
    )


def _planned(ends: Ends) -> Iterator[Part]:
    """The plan of the list, as far as the end that is shown."""
    for one in ends.listed[: ends.last + 1]:
        opens = Ref("run", one.run_id) if one.run_id else None
        name = (
            _("rest of {nest}, the run on the table") if one.run_id else _("plan of {nest}, waits")
        )
        yield Part(
            name.format(nest=one.nest), seconds(one.plan_s, "planned"), opens, (_chance(one),)
        )
    plan_s = sum(one.plan_s for one in ends.listed[: ends.last + 1])
    yield Part(_("Planned cutting"), seconds(plan_s, "planned"), total=True)


def _chance(one: Listed) -> str:
    return _("done in this shift: {chance:.0f} in 100").format(chance=one.chance * 100)


def _spent(ends: Ends, shown: Shown) -> Iterator[Part]:
    """From now to the end, on average of all draws: these add up."""
    for kind, name in _names().items():
        if (value := ends.spent.get(kind, 0.0)) >= 0.5:
            yield Part(name, seconds(value, "planned"))
    if far := float((ends.raw > ends.known_until).mean()):
        words = _("unknown: {far:.0f} in 100 draws end beyond the calendar").format(far=far * 100)
        yield Part(_("From now to the end, on average"), text(words, "unknown"))
        return
    if ends.away_s >= 0.5:
        yield Part(_("breaks, and time no shift covers"), seconds(ends.away_s, "planned"))
    until_s = ends.mean - shown.window.now_us / 1e6
    yield Part(_("From now to the end, on average"), seconds(until_s, "planned"), total=True)
    early_s = ends.middle - ends.mean
    yield Part(
        _("half of the draws end before"),
        seconds(early_s, "planned", change=True),
        notes=(_("a few long stops make the average later"),) if early_s < 0 else (),
    )


def _as_planned(shown: Shown) -> Iterator[Part]:
    drawn = shown.row.strip
    if drawn.plan_end_us is None or not drawn.pace:
        return
    yield Part(
        _("Plan, with what is usual beside cutting"),
        text(shown.clock_day(drawn.plan_end_us / 1e6), "planned"),
        Ref("pace", shown.key),
        (_("the end that is expected, less what the table is ahead of its pace"),),
    )


def _names() -> dict[Spent, str]:
    return {
        Spent.CUT: _("burning and travel, as this table's runs take them"),
        Spent.STOP: _("stoppages while cutting"),
        Spent.LOAD: _("loading"),
        Spent.UNLOAD: _("unloading"),
        Spent.GAP: _("between runs of one set"),
        Spent.CHANGE: _("set changes"),
        Spent.BORDER: _("idle at a shift's end and until the first arc of the next"),
    }


def _rests_on(ends: Ends) -> Iterator[Part]:
    stored = ends.stored
    learnt = (
        count(stored.runs, "{n} run of this table", "{n} runs of this table")
        if stored.runs
        else _("no run yet: what the table's page says, and our assumptions")
    )
    yield Part(_("Learnt from"), text(learnt))
    widened = filled(_("{scale:.2f}, so that the last ranges would have held"), scale=stored.scale)
    yield Part(_("Ranges widened by"), text(widened))
    yield Part(_("How such ranges held"), text(held_words(stored.scored or {})))
    if replayed := (stored.scored or {}).get("replayed"):
        yield Part(_("Replayed on days before the first was shown"), text(held_words(replayed)))


def held_words(scored: dict[str, int]) -> str:
    """Of the last 60 ranges 49 held."""
    if not scored.get("said"):
        return _("none has come to its end yet")
    held = _(
        "of the last {said} ranges {held} held; 80 in 100 promised, {low} to {high} would be chance"
    ).format(**{name: scored.get(name, 0) for name in ("said", "held", "low", "high")})
    if scored.get("later"):
        held = _("{held}; {later} ended later than three days after their range").format(
            held=held, later=scored["later"]
        )
    if not scored.get("voided"):
        return held
    return _("{held}; {voided} more not counted: their list changed").format(
        held=held, voided=scored["voided"]
    )


def _left(ends: Ends) -> Iterator[Part]:
    for one in ends.left[:MORE]:
        yield Part(
            _("more likely not done in this shift: {nest}").format(nest=one.nest),
            text(_("{chance:.0f} in 100").format(chance=one.chance * 100)),
        )
