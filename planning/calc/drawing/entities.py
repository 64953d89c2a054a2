"""DXF entities as curves in the plane, blocks taken apart.

Everything is seen from above: an entity that is not flat is measured by its shadow in X and Y, as
the torch would cut it, and told so.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field
from typing import Any

from ezdxf.entities.dxfentity import DXFTagStorage
from ezdxf.math import OCS, Matrix44, Vec3

from planning.calc.drawing.curves import CHORD_MM, Arc, Curve, Line, Point, bulge
from planning.calc.drawing.many_beziers import prepare
from planning.calc.drawing.splines import beziers
from planning.calc.drawing.types import DrawingError, Note, Strand, legible
from planning.calc.said import Said, said, told

MOST_CURVES = 250_000
MOST_INSERTS = 100_000  # placed blocks, empty ones too: ten in ten in ten has no end
MOST_DEPTH = 16
MOST_MM = 1e7  # ten kilometres: no part lies there, and coordinates still hold a nanometre
FLAT_MM = 0.01


@dataclass
class Collected:
    """What the entities came to. ``seen`` counts kinds by layer, passed-over ones too; ``faults``
    are entities that cannot be measured, by layer, which count only if the layer does."""

    strands: list[Strand] = field(default_factory=list)
    seen: dict[str, Counter[str]] = field(default_factory=dict)
    passed: Counter[tuple[str, str]] = field(default_factory=Counter)
    notes: list[Note] = field(default_factory=list)
    faults: dict[str, list[DrawingError]] = field(default_factory=dict)
    frozen: frozenset[str] = frozenset()  # layers, in small letters
    on_frozen: Counter[tuple[str, str]] = field(default_factory=Counter)  # blocks placed on those
    curves: int = 0
    inserts: int = 0


@dataclass(frozen=True, slots=True)
class _Where:
    """Where block entities land: the map to mm, the layer that stands for "0", blocks around."""

    map: Matrix44
    layer: str | None = None
    blocks: tuple[str, ...] = ()


def collect(document: Any, unit_mm: float) -> Collected:
    """The curves of the model space in mm. Raises ``DrawingError`` where blocks insert themselves
    or come to more than ``MOST_CURVES``."""
    frozen = (each for each in document.layers if each.is_frozen())
    found = Collected(frozen=frozenset(legible(str(each.dxf.name)).lower() for each in frozen))
    _walk(document.modelspace(), _Where(Matrix44.scale(unit_mm)), found)
    return found


def _walk(entities: Iterable[Any], where: _Where, found: Collected) -> None:
    for entity in entities:
        kind = legible(entity.dxftype())
        layer = legible(str(_common(entity, "layer", "0")))
        if layer == "0" and where.layer is not None:
            layer = where.layer
        handle = str(entity.dxf.get("handle") or said("without handle"))
        if where.blocks:
            handle = said("{handle} in block {blocks}", handle=handle, blocks=where.blocks[-1])
        handle = legible(handle)
        try:
            if _common(entity, "invisible", 0):
                found.passed["invisible " + kind, layer] += 1
                continue
            if kind == "INSERT":
                _insert(entity, layer, handle, where, found)
                continue
            found.seen.setdefault(layer, Counter())[kind] += 1
            if (reader := READERS.get(kind)) is None:
                found.passed[kind, layer] += 1
                continue
            place, bare = _Place(where.map), Strand(handle, kind, layer, ())
            _keep(reader(entity, place), bare, found)
            if place.sloped:
                found.notes.append(
                    Note(
                        said("{bare} is not flat: measured as seen from above", bare=bare.words),
                        True,
                        handle,
                        layer,
                    )
                )
        except (ValueError, TypeError, ArithmeticError, AttributeError, LookupError) as problem:
            if isinstance(problem, DrawingError) and not isinstance(problem, _Unmeasured):
                raise
            text = said(
                "{kind} on layer {layer}: {problem}",
                kind=kind,
                layer=layer,
                problem=_words(problem),
            )
            found.faults.setdefault(layer, []).append(DrawingError(text, handle))


def _common(entity: Any, name: str, default: Any) -> Any:
    """What entities of any kind may say. Of kinds it does not know the reader keeps that apart."""
    if isinstance(entity, DXFTagStorage):
        return entity.graphic_properties().get(name, default)
    return entity.dxf.get(name, default)


class _Unmeasured(DrawingError):
    """One entity cannot be measured; the rest of the drawing can."""


def _words(problem: Exception) -> str:
    if isinstance(problem, _Unmeasured):
        return problem.message
    found = told(problem)
    return found if isinstance(found, Said) else " ".join(found.split()) or type(problem).__name__


def _keep(curves: list[Curve], bare: Strand, found: Collected) -> None:
    found.curves += len(curves)
    if found.curves > MOST_CURVES:
        raise DrawingError(
            said(
                "The drawing has more than {most_curves:,} curves, blocks taken apart.",
                most_curves=MOST_CURVES,
            )
        )
    for curve in curves:
        if not all(abs(value) <= MOST_MM for value in (*curve.start, *curve.end)):
            raise _Unmeasured(said("a coordinate is not a number or is over 10 km away"))
    lasting = [curve for curve in curves if curve.length_mm > 1e-9]
    if not lasting:
        found.notes.append(
            Note(
                said("{bare} has no length: left out", bare=bare.words),
                False,
                bare.handle,
                bare.layer,
            )
        )
        return
    closed = math.dist(lasting[0].start, lasting[-1].end) <= 1e-6
    found.strands.append(Strand(bare.handle, bare.kind, bare.layer, tuple(lasting), closed))


def _insert(entity: Any, layer: str, handle: str, where: _Where, found: Collected) -> None:
    name = legible(str(entity.dxf.get("name", "")))
    if name in where.blocks or len(where.blocks) >= MOST_DEPTH:
        raise DrawingError(
            said("Block {name} on layer {layer} inserts itself.", name=name, layer=layer), handle
        )
    block = entity.block()
    if block is None:
        found.notes.append(
            Note(f"INSERT {handle} on layer {layer}: there is no block {name}", True, handle, layer)
        )
        return
    if layer.lower() in found.frozen:
        found.on_frozen[name, layer] += 1
    columns, rows = entity.dxf.get("column_count", 1), entity.dxf.get("row_count", 1)
    if columns * rows > MOST_CURVES:
        raise DrawingError(
            said("Block {name} is inserted {times:,} times.", name=name, times=columns * rows),
            handle,
        )
    copies = entity.multi_insert() if columns * rows > 1 else (entity,)
    for copy in copies:
        found.inserts += 1
        if found.inserts > MOST_INSERTS:
            raise DrawingError(
                said("The drawing places more than {most:,} blocks.", most=MOST_INSERTS), handle
            )
        placed = _Where(copy.matrix44() * where.map, layer, (*where.blocks, name))
        _walk(block, placed, found)


class _Place:
    """The map of one entity to the plane; it remembers whether the entity was level."""

    def __init__(self, to: Matrix44) -> None:
        self._to = to
        self._low, self._high = math.inf, -math.inf

    def point(self, at: Vec3) -> Point:
        put = self._to.transform(at)
        self._low, self._high = min(self._low, put.z), max(self._high, put.z)
        return put.x, put.y

    def way(self, along: Vec3) -> Point:
        put = self._to.transform_direction(along)
        if abs(put.z) > FLAT_MM:
            self._low, self._high = -math.inf, math.inf
        return put.x, put.y

    @property
    def sloped(self) -> bool:
        return self._high - self._low > FLAT_MM


def _axes(entity: Any) -> OCS:
    return OCS(entity.dxf.get("extrusion", Vec3(0, 0, 1)))


def _line(entity: Any, place: _Place) -> list[Curve]:
    return [Line(place.point(entity.dxf.start), place.point(entity.dxf.end))]


def _circle(entity: Any, place: _Place) -> list[Curve]:
    return [_round(entity, place, 0.0, math.tau)]


def _arc(entity: Any, place: _Place) -> list[Curve]:
    start, end = (math.radians(entity.dxf.get(name)) for name in ("start_angle", "end_angle"))
    sweep = (end - start) % math.tau
    return [_round(entity, place, start, start + (sweep or math.tau))]


def _round(entity: Any, place: _Place, start: float, end: float) -> Arc:
    axes, radius = _axes(entity), float(entity.dxf.radius)
    if not radius > 0:
        raise _Unmeasured(said("its radius is {radius:g}", radius=radius))
    centre = place.point(axes.to_wcs(Vec3(entity.dxf.center)))
    u = place.way(axes.to_wcs(Vec3(radius, 0, 0)))
    v = place.way(axes.to_wcs(Vec3(0, radius, 0)))
    return Arc(centre, u, v, start, end)


def _ellipse(entity: Any, place: _Place) -> list[Curve]:
    major = Vec3(entity.dxf.major_axis)
    normal = Vec3(entity.dxf.get("extrusion", Vec3(0, 0, 1))).normalize()
    minor = normal.cross(major) * float(entity.dxf.ratio)
    start, end = float(entity.dxf.start_param), float(entity.dxf.end_param)
    sweep = (end - start) % math.tau
    if sweep < 1e-9 or math.tau - sweep < 1e-9:
        sweep = math.tau
    centre = place.point(Vec3(entity.dxf.center))
    return [Arc(centre, place.way(major), place.way(minor), start, start + sweep)]


def _lwpolyline(entity: Any, place: _Place) -> list[Curve]:
    height = float(entity.dxf.get("elevation", 0.0))
    points = [(Vec3(x, y, height), float(b)) for x, y, b in entity.get_points("xyb")]
    return _bulged(points, bool(entity.closed), _axes(entity), place)


def _polyline(entity: Any, place: _Place) -> list[Curve]:
    if entity.is_polygon_mesh or entity.is_poly_face_mesh:
        raise _Unmeasured(said("it is a mesh, no outline"))
    drawn = [each for each in entity.vertices if not each.dxf.get("flags", 0) & 16]  # frame points
    points = [(Vec3(each.dxf.location), float(each.dxf.get("bulge", 0.0))) for each in drawn]
    axes = OCS() if entity.is_3d_polyline else _axes(entity)
    return _bulged(points, bool(entity.is_closed), axes, place)


def _bulged(
    points: list[tuple[Vec3, float]], closed: bool, axes: OCS, place: _Place
) -> list[Curve]:
    """Segments of a polyline; each arc is made in its own plane and then mapped."""
    if len(points) < 2:
        return []
    following = [*points[1:], points[0]] if closed else points[1:]
    curves: list[Curve] = []
    for (here, value), (there, _) in zip(points, following, strict=False):
        segment = bulge((here.x, here.y), (there.x, there.y), value)
        if isinstance(segment, Arc):
            cx, cy = segment.centre
            centre = place.point(axes.to_wcs(Vec3(cx, cy, here.z)))
            u = place.way(axes.to_wcs(Vec3(*segment.u)))
            v = place.way(axes.to_wcs(Vec3(*segment.v)))
            curves.append(Arc(centre, u, v, segment.t0, segment.t1))
        else:
            start, end = place.point(axes.to_wcs(here)), place.point(axes.to_wcs(there))
            curves.append(Line(start, end))
    return curves


def _spline(entity: Any, place: _Place) -> list[Curve]:
    """By its control points; where it has none, the curve that ezdxf lays through its fit points
    (a cubic, by global interpolation)."""
    if len(entity.control_points):
        degree, knots = int(entity.dxf.degree), list(entity.knots)
        control = [Vec3(each) for each in entity.control_points]
        weights = list(entity.weights) or None
    else:
        tool = entity.construction_tool()
        degree, knots = tool.degree, list(tool.knots())
        control, weights = list(tool.control_points), None
    points = [place.point(each) for each in control]
    if not all(abs(value) <= MOST_MM for point in points for value in point):
        raise _Unmeasured(said("a control point is not a number or is over 10 km away"))
    found = beziers(points, knots, degree, weights)
    prepare(found, CHORD_MM)
    return list(found)


READERS: dict[str, Callable[[Any, _Place], list[Curve]]] = {
    "LINE": _line,
    "CIRCLE": _circle,
    "ARC": _arc,
    "ELLIPSE": _ellipse,
    "LWPOLYLINE": _lwpolyline,
    "POLYLINE": _polyline,
    "SPLINE": _spline,
}


def frozen_notes(found: Collected) -> Iterator[Note]:
    """Blocks placed on a frozen layer. Programs differ in what they show of those: what lies on
    other layers is read, as ezdxf draws it."""
    for (name, layer), count in sorted(found.on_frozen.items()):
        yield Note(
            said(
                "{count} of block {name} placed on layer {layer}, which is frozen: what is drawn "
                "in it on other layers is read",
                count=count,
                name=name,
                layer=layer,
            ),
            True,
        )


def passed_notes(found: Collected) -> Iterator[Note]:
    """What was seen and is no outline, counted by kind and layer."""
    for (kind, layer), count in sorted(found.passed.items()):
        yield Note(
            said(
                "{count} {kind} on layer {layer} passed over: no outline",
                count=count,
                kind=kind,
                layer=layer,
            ),
            False,
            None,
            layer,
        )
