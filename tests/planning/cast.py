"""Small makers of runs and arcs. A second of a story is a second after its start, in UTC."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from itertools import count

from shopfloor.models import (
    ArcAssignment,
    Contour,
    Customer,
    Fitting,
    Job,
    JobLine,
    Material,
    Nest,
    NestRevision,
    Piece,
    Run,
    Segment,
    SetPart,
    Sheet,
    Stoppage,
    WearSet,
)
from shopfloor.runs.arcs import to_us
from telemetry.models import Arc, Feed

NOON = datetime(2026, 10, 6, 17, tzinfo=UTC)  # a Tuesday, 12:00 in Chicago: the early shift
_number = count(1)


def material():
    return Material.objects.get_or_create(
        code="MS", defaults={"name": "mild steel", "density_kg_m3": 7850}
    )[0]


def wear_set(code="fast-130", duty="fast", amps=130.0):
    return WearSet.objects.get_or_create(
        code=code, defaults={"duty": duty, "current_a": amps, "gas": "air"}
    )[0]


def job(number="J-1", parts=("plate",), quantity=50, **more):
    customer = Customer.objects.get_or_create(name="Fallow Gate Farms")[0]
    made = Job.objects.create(number=number, customer=customer, title=f"job {number}", **more)
    lines = [
        JobLine.objects.create(
            job=made,
            number=place,
            part=part,
            quantity=quantity,
            material=material(),
            thickness_mm=6.0,
            thickness_text="6 mm",
        )
        for place, part in enumerate(parts, 1)
    ]
    return made, lines


def nest(by, contours, *, name="N-1", the_set=None, program=b"M30\n"):
    """`contours` are (line or None, net area in mm2, planned arc in s)."""
    made = Nest.objects.create(
        name=name,
        material=material(),
        thickness_mm=6.0,
        thickness_text="6 mm",
        wear_set=the_set or wear_set(),
    )
    revision = NestRevision.objects.create(
        nest=made,
        revision=1,
        program=program,
        file_name=f"{name}.nc",
        bytes_sha256=name,
        path_sha256=name,
        made_by=by,
    )
    Contour.objects.bulk_create(
        Contour(
            revision=revision,
            number=number,
            line=line,
            part=line.part if line else "",
            copy=number,
            cut_mm=arc_s * 50,
            net_area_mm2=area,
        )
        for number, (line, area, arc_s) in enumerate(contours, 1)
    )
    return revision


def plan(arcs_s, *, travel_s=1.0, pierce_s=0.5, load_s=0.0, **more):
    """A run's snapshot: each contour with its arc, a pierce inside it and travel before it."""
    count = len(arcs_s)
    return {
        "cut_mm": sum(arcs_s) * 50,
        "pierces": count,
        "cut_s": sum(arcs_s) - pierce_s * count,
        "pierce_s": pierce_s * count,
        "travel_s": travel_s * count,
        "touch_off_s": 0.0,
        "load_s": load_s,
        "total_s": sum(arcs_s) + travel_s * count,
        "arcs_s": list(arcs_s),
        "snapshot": {
            "contours": {"pierce_s": [pierce_s] * count, "travel_s": [travel_s] * count},
            "chart": {"arc_v": 120.0},
        },
    } | more


def sheet(cost_minor=60_000, **more):
    values = {
        "material": material(),
        "thickness_mm": 6.0,
        "thickness_text": "6 mm",
        "length_mm": 3000.0,
        "width_mm": 1500.0,
        "area_mm2": 4_500_000.0,
        "cost_minor": cost_minor,
        "received_at": NOON,
    } | more
    return Sheet.objects.create(code=f"S-{next(_number)}", **values)


def at(start, seconds):
    return start + timedelta(seconds=seconds)


def run(revision, table, *, start=NOON, seconds=3600.0, operator=None, state="finished", **more):
    """A run of one segment, from `start` for `seconds`."""
    made = Run.objects.create(
        revision=revision,
        table=table,
        opened_at=start,
        state=state,
        closed_at=at(start, seconds) if state == "finished" else None,
        **more,
    )
    segment(made, start, seconds, operator=operator)
    return made


def segment(of, start, seconds, *, operator=None, the_set=None, **more):
    return Segment.objects.create(
        run=of,
        torch=of.table.torches.first(),
        wear_set=the_set or wear_set(),
        operator=operator,
        started_at=start,
        ended_at=at(start, seconds) if seconds is not None else None,
        **more,
    )


def feed(table, name="north-feed"):
    return Feed.objects.get_or_create(
        name=name, defaults={"table": table.code, "kind": "csv_file", "created_us": 0}
    )[0]


def arcs(of, spans, *, start=NOON, segment=None, pierced=None, torch="1", volts=None, amps=None):
    """Arcs of a run: `spans` are (on, off, contour) in seconds after `start`. With `pierced` the
    source tells of pierces, each that many seconds into its arc (None: it tells of none)."""
    source = feed(of.table, f"{of.table.code}-feed")
    segment = segment or of.segments.first()
    made, said = [], []
    for on, off, contour in spans:
        key = f"{source.name}|{torch}|{next(_number):08d}"
        on_us, off_us = to_us(at(start, on)), to_us(at(start, off))
        made.append(
            Arc(
                key=key,
                feed=source,
                table=of.table.code,
                torch=torch,
                on_us=on_us,
                off_us=off_us,
                ended="off",
                pierces=None if pierced is None else 1,
                first_pierce_us=None if pierced is None else on_us + round(pierced * 1e6),
                volts=volts,
                amps=amps,
                feed_version=1,
                changed_us=0,
            )
        )
        said.append(ArcAssignment(arc_key=key, segment=segment, contour_number=contour, at=NOON))
    Arc.objects.bulk_create(made)
    ArcAssignment.objects.bulk_create(said)
    return made


def stoppage(of, start, seconds, *, reason=None, **more):
    return Stoppage.objects.create(
        table=of.table,
        run=of,
        reason=reason,
        started_at=start,
        ended_at=at(start, seconds),
        **more,
    )


def part(kind="electrode", price_minor=1900, rated=600, the_set=None):
    return SetPart.objects.get_or_create(
        wear_set=the_set or wear_set(),
        kind=kind,
        defaults={"name": f"a {kind}", "price_minor": price_minor, "rated_starts": rated},
    )[0]


def piece(kind="electrode", price_minor=1900, rated=600, label=None, **more):
    of = part(kind, price_minor, rated)
    return Piece.objects.create(
        label=label or f"P-{next(_number)}", part=of, price_minor=price_minor, **more
    )


def fitting(of, table, start, end=None, *, by, state="", **more):
    return Fitting.objects.create(
        piece=of,
        torch=table.torches.first(),
        fitted_at=start,
        removed_at=end,
        fitted_by=by,
        removal_state=state,
        **more,
    )


def rate(kind, minor, table=None, valid_from=None):
    from shopfloor.models import Rate

    return Rate.objects.create(
        kind=kind,
        amount_minor=minor,
        table=table,
        valid_from=valid_from or datetime(2026, 1, 1, tzinfo=UTC).date(),
    )
