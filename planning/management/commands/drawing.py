"""Measure one DXF drawing: layers, contours, lengths, areas, and what is odd in it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django.core.management.base import CommandParser

from planning.calc.drawing import (
    GAP_MM,
    UNITS_MM,
    Contour,
    Drawing,
    DrawingError,
    Reading,
    Role,
    read_drawing,
)
from planning.management.commands._figures import FigureCommand, finite


class Command(FigureCommand):
    help = "Layers, contours, lengths and areas of one DXF drawing."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("file")
        parser.add_argument("--unit", choices=tuple(UNITS_MM), help="above what the file says")
        parser.add_argument("--gap", type=finite, default=GAP_MM, metavar="MM",
                            help=f"join ends not further apart ({GAP_MM:g})")  # fmt: skip
        for role in ("cut", "mark", "ignore"):
            parser.add_argument(
                f"--{role}", action="append", default=[], metavar="LAYER",
                help=f"a layer to {role}; may be given again",
            )  # fmt: skip
        parser.add_argument("--json", action="store_true", dest="as_json")

    def handle(self, *args: Any, **options: Any) -> None:
        name = options["file"]
        raw = self.read_bytes(name)
        try:
            drawing = read_drawing(raw, _reading(options))
        except DrawingError as error:
            self.fail(f"{name}:{error.place or 1}: {error.message}")
        except ValueError as error:
            self.fail(f"drawing: {error}")
        if options["as_json"]:
            self.print_json(as_json(drawing))
        else:
            print(_summary(name, drawing))


def _reading(options: Mapping[str, Any]) -> Reading:
    roles: dict[str, Role] = {}
    chosen: tuple[Role, ...] = ("cut", "mark", "ignore")
    for role in chosen:
        for layer in options[role]:
            if layer in roles:
                raise ValueError(f"layer {layer} is given two roles")
            roles[layer] = role
    return Reading(unit=options["unit"], roles=roles, gap_mm=options["gap"])


def as_json(drawing: Drawing) -> dict[str, Any]:
    """Lengths in mm, areas in mm2; `null` is unknown, and a note says why."""
    return {
        "unit": drawing.unit,
        "unit_from": "file" if drawing.unit_said else "person",
        "version": drawing.version,
        "layers": [
            {"name": layer.name, "role": layer.role, "why": layer.why,
             "entities": dict(layer.counts), "length_mm": layer.length_mm}
            for layer in drawing.layers
        ],
        "cut_mm": drawing.cut_mm,
        "mark_mm": drawing.mark_mm,
        "pierces": drawing.pierces,
        "net_area_mm2": drawing.net_area_mm2,
        "extents_mm": list(drawing.extents_mm),
        "contours": [_contour(contour) for contour in drawing.contours],
        "marks": [_contour(contour) for contour in drawing.marks],
        "notes": [
            {"text": note.text, "fault": note.fault, "handle": note.handle, "layer": note.layer,
             "at_mm": None if note.at is None else list(note.at)}
            for note in drawing.notes
        ],
    }  # fmt: skip


def _contour(contour: Contour) -> dict[str, Any]:
    return {
        "number": contour.number,
        "kind": contour.kind,
        "layer": contour.layer,
        "closed": contour.closed,
        "length_mm": contour.length_mm,
        "area_mm2": contour.area_mm2,
        "net_area_mm2": contour.net_area_mm2,
        "inside": contour.inside,
        "extents_mm": list(contour.extents_mm),
        "handles": list(contour.handles),
    }


def _summary(name: str, drawing: Drawing) -> str:
    wide, high = drawing.size_mm
    area = drawing.net_area_mm2
    said = "" if drawing.unit_said else ", chosen"
    lines = [
        f"{name}: {wide:.1f} by {high:.1f} mm (drawn in {drawing.unit}{said}), {drawing.version}",
        f"  cut        {drawing.cut_mm:12.3f} mm in {drawing.pierces} contours",
        f"  marking    {drawing.mark_mm:12.3f} mm",
        f"  net area   {'unknown':>12}" if area is None else f"  net area   {area:12.3f} mm2",
    ]
    for layer in drawing.layers:
        counts = ", ".join(f"{count} {kind}" for kind, count in layer.counts.items())
        lines.append(f"  layer {layer.name}: {layer.role} ({layer.why}); {counts}")
    for contour in drawing.contours:
        own = "" if contour.area_mm2 is None else f", {contour.area_mm2:.3f} mm2"
        lines.append(f"  {contour.number:4d} {contour.kind:6} {contour.length_mm:12.3f} mm{own}")
    lines += [f"  {'fault' if note.fault else 'note'}: {note.text}" for note in drawing.notes]
    return "\n".join(lines)
