"""A drawing measured: layers, contours, lengths, areas, and what was odd."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Mapping, Sequence
from typing import Any

from planning.calc.drawing.chains import Chain, chains_of
from planning.calc.drawing.contours import contours_of, loose_contours
from planning.calc.drawing.curves import Box
from planning.calc.drawing.repeats import without_repeats
from planning.calc.drawing.types import (
    ROLES,
    Contour,
    Drawing,
    DrawingError,
    Layer,
    Note,
    NothingUsed,
    Reading,
    Role,
    Strand,
    UnitUnknown,
)
from planning.calc.said import listed, said

UNITS_MM = {"mm": 1.0, "cm": 10.0, "m": 1000.0, "in": 25.4, "ft": 304.8}
# DXF reference, header variable $INSUNITS; units no plate is drawn in are asked for like none.
INSUNITS = {1: "in", 2: "ft", 4: "mm", 5: "cm", 6: "m"}
LEAST_SIZE_MM, MOST_SIZE_MM = 3.0, 15_000.0  # our assumption: outside, the unit is asked after
MOST_OF_A_KIND = 20
CHOSEN = "chosen"


def read_drawing(raw: bytes, reading: Reading | None = None) -> Drawing:
    """Measures the model space of a DXF file's bytes.

    Lengths are of the drawn lines: no kerf is taken off or added. Raises ``UnitUnknown`` where
    neither the file nor ``reading`` says the unit, else ``DrawingError`` where it cannot be read,
    nothing is left to cut or mark, or an entity on a layer in use cannot be measured.
    """
    from planning.calc.drawing.document import open_document
    from planning.calc.drawing.entities import collect, frozen_notes, passed_notes
    from planning.calc.drawing.layers import defaults

    reading = reading or Reading()
    opened = open_document(raw)
    unit, told = _unit(opened.document, reading)
    found = collect(opened.document, UNITS_MM[unit or "mm"])
    roles = defaults(opened.document, found.seen)
    for name in found.seen:
        if reading.roles.get(name, roles[name][0]) != roles[name][0]:
            roles[name] = (reading.roles[name], CHOSEN)
    used = {name for name, (role, _) in roles.items() if role != "ignore"}
    for name in sorted(used & set(found.faults)):
        raise found.faults[name][0]
    strands = [strand for strand in found.strands if strand.layer in used]
    if unit is None:
        raise UnitUnknown(_ask(strands))
    notes: list[Note] = []
    if opened.mended is not None:
        notes.append(
            Note(
                said(
                    "the file is damaged and was repaired in reading: {mended}",
                    mended=opened.mended,
                ),
                True,
            )
        )
    if reading.unit is not None and told not in (None, reading.unit):
        notes.append(
            Note(
                said(
                    "the file says {told}, read as {unit} because you chose it",
                    told=told,
                    unit=reading.unit,
                )
            )
        )
    notes += [each for each in found.notes if each.layer in used or each.layer is None]
    notes += frozen_notes(found)
    notes += passed_notes(found)
    notes += _unused(reading, found.seen)
    return _measured(
        strands, roles, found.seen, notes, reading,
        unit=unit, unit_said=reading.unit is None, version=str(opened.document.acad_release),
    )  # fmt: skip


def _unit(document: Any, reading: Reading) -> tuple[str | None, str | None]:
    """The unit to read in and the one the file says."""
    code = document.header.get("$INSUNITS", 0)
    told = INSUNITS.get(code) if isinstance(code, int) else None
    if reading.unit is None:
        return told, told
    if reading.unit not in UNITS_MM:
        raise DrawingError(
            said(
                "A unit is {units_mm}, not {unit}.", units_mm=", ".join(UNITS_MM), unit=reading.unit
            )
        )
    return reading.unit, told


def _ask(strands: Sequence[Strand]) -> str:
    asked = said("The drawing does not say its unit: choose one.")
    if not strands:
        return asked
    x_min, y_min, x_max, y_max = union([curve.box for each in strands for curve in each.curves])
    return said(
        "{asked} It measures {x_max:.6g} by {y_max:.6g} of them.",
        asked=asked,
        x_max=x_max - x_min,
        y_max=y_max - y_min,
    )


def _unused(reading: Reading, seen: dict[str, Any]) -> list[Note]:
    return [
        Note(
            said("there is nothing on layer {name}, which was chosen", name=name), False, None, name
        )
        for name in sorted(set(reading.roles) - set(seen))
    ]


def _measured(
    strands: Sequence[Strand],
    roles: dict[str, tuple[Role, str]],
    seen: dict[str, Any],
    notes: list[Note],
    reading: Reading,
    *,
    unit: str,
    unit_said: bool,
    version: str,
) -> Drawing:
    chains: dict[str, list[Chain]] = {}
    lengths: dict[str, float] = defaultdict(float)
    for role in ("cut", "mark"):
        own = [each for each in strands if roles[each.layer][0] == role]
        kept, repeats = without_repeats(own)
        chains[role], gaps = chains_of(kept, reading.gap_mm)
        notes += capped(repeats) + capped(gaps)
        for strand in kept:
            lengths[strand.layer] += math.fsum(curve.length_mm for curve in strand.curves)
    seen_layers = _layers(seen, roles, lengths)
    if not chains["cut"] and not chains["mark"]:
        raise NothingUsed(_nothing_used(seen_layers), None, seen_layers)
    notes += _passed_layers(seen_layers)
    contours, more, sound = contours_of(chains["cut"])
    marks = loose_contours(chains["mark"])
    notes += capped(more)
    extents = union([each.extents_mm for each in (*contours, *marks)])
    notes += _doubtful_size(extents)
    return Drawing(
        unit=unit,
        unit_said=unit_said,
        version=version,
        layers=seen_layers,
        contours=contours,
        marks=marks,
        cut_mm=math.fsum(each.length_mm for each in contours),
        mark_mm=math.fsum(each.length_mm for each in marks),
        pierces=len(contours),
        net_area_mm2=_net(contours) if sound else None,
        extents_mm=extents,
        notes=tuple(sorted(notes, key=lambda each: not each.fault)),
    )


def _layers(
    seen: Mapping[str, Mapping[str, int]],
    roles: Mapping[str, tuple[Role, str]],
    lengths: Mapping[str, float],
) -> tuple[Layer, ...]:
    return tuple(
        Layer(name, *roles[name], dict(sorted(seen[name].items())), lengths.get(name, 0.0))
        for name in sorted(seen, key=lambda each: (ROLES.index(roles[each][0]), each))
    )


def _nothing_used(layers: Sequence[Layer]) -> str:
    told = said("Nothing is drawn on a layer that is cut or marked.")
    passed = [_passed_over(each) for each in layers if drawn_on(each)]
    if not passed:
        return told
    return said("{told} Passed over: {layers}.", told=told, layers=listed(passed, "; "))


def _passed_layers(layers: Sequence[Layer]) -> list[Note]:
    """Lines that nobody cuts are told, whatever their layer was taken for."""
    return capped(
        [
            Note(said("passed over: {layer}", layer=_passed_over(each)), False, None, each.name)
            for each in layers
            if each.role == "ignore" and each.why != CHOSEN and drawn_on(each)
        ]
    )


def drawn_on(layer: Layer) -> bool:
    """Whether anything on it could be cut."""
    from planning.calc.drawing.entities import READERS

    return any(kind in READERS for kind in layer.counts)


def _passed_over(layer: Layer) -> str:
    return said(
        "layer {name}, {why}, with {entities}",
        name=layer.name,
        why=layer.why,
        entities=layer.entities,
    )


def _net(contours: Sequence[Contour]) -> float | None:
    found = [each.net_area_mm2 for each in contours if each.kind in ("outer", "island")]
    return math.fsum(area or 0.0 for area in found) if found else None


def _doubtful_size(extents: Box) -> list[Note]:
    x_min, y_min, x_max, y_max = extents
    size = max(x_max - x_min, y_max - y_min)
    if LEAST_SIZE_MM <= size <= MOST_SIZE_MM:
        return []
    sides = (x_max - x_min, y_max - y_min)
    return [Note(said("it measures {0:n.4g} by {1:.4g}: is the unit right?", *sides), True)]


def union(boxes: Sequence[Box]) -> Box:
    """The smallest box around boxes, one at least."""
    lows_x, lows_y, highs_x, highs_y = zip(*boxes, strict=True)
    return min(lows_x), min(lows_y), max(highs_x), max(highs_y)


def capped(notes: list[Note]) -> list[Note]:
    """A flood of one kind cut short, and told so."""
    if len(notes) <= MOST_OF_A_KIND:
        return notes
    more = len(notes) - MOST_OF_A_KIND
    fault = any(each.fault for each in notes[MOST_OF_A_KIND:])
    return [*notes[:MOST_OF_A_KIND], Note(said("and {more} more like these", more=more), fault)]
