"""The map to touch, with the same things as keys under it: a map alone would ask for a steady
finger."""

from __future__ import annotations

from dataclasses import dataclass

from django.utils.translation import gettext as _

from shopfloor.models import Contour, NestRevision, Run
from shopfloor.runs.progress import Progress, progress_of
from shopfloor.svg.part_outline import Path, part_paths, paths_of
from shopfloor.svg.parts_map import Part, PartState, Svg, parts_map

# Of a map 620 px wide, shown at three fifths of that beside the keys: read at arm's length.
FONT_PX, LEAST_PX = 32.0, 20.0
KEYS_MOST = 60  # contours beyond these are chosen on the map or by number


@dataclass(frozen=True, slots=True)
class Key:
    """One part or contour to touch, named after its first contour. `seen`: yes, no, or blank
    where no source tells."""

    contour: int
    name: str
    words: str
    seen: str


@dataclass(frozen=True, slots=True)
class TouchMap:
    svg: Svg | None
    keys: list[Key]
    more: int  # keys left out


def seen_contours(run: Run) -> Progress:
    return progress_of(run)


def map_parts(revision: NestRevision, seen: Progress | None) -> TouchMap:
    """Whole ordered parts: outline and holes together, judged as one. Each has the number its
    outline is cut in, as on the setup sheet."""
    members: dict[tuple[int | None, str, int], list[Contour]] = {}
    for contour in revision.contours.exclude(line=None).order_by("number"):
        members.setdefault((contour.line_id, contour.part, contour.copy), []).append(contour)
    parts, keys = [], []
    for (_line, name, _copy), contours in members.items():
        needs = [*(one.number for one in contours), *(k for one in contours for k in one.edges)]
        if seen is not None and max(needs) < seen.first:
            continue  # it was whole on the plate before
        first = next((one for one in contours if not one.inner), contours[0])
        state = state_of(needs, seen)
        said = name if first.parts == 1 else f"{first.parts} × {name}"
        keys.append(
            Key(
                first.number, f"{first.number}: {said}", words_of(state, seen), seen_of(state, seen)
            )
        )
        drawn = [first, *(one for one in contours if one is not first)]
        parts.append(drawn_part(first, state, said, part_paths(drawn)))
    return TouchMap(svg_of(parts), keys, 0)


def map_contours(revision: NestRevision, seen: Progress | None) -> TouchMap:
    """Every contour by itself, with the number it is cut in."""
    parts, keys = [], []
    for contour in revision.contours.order_by("number"):
        state = state_of([contour.number], seen)
        number, name = str(contour.number), contour.part
        keys.append(Key(contour.number, number, words_of(state, seen), seen_of(state, seen)))
        parts.append(drawn_part(contour, state, name, paths_of([contour])))
    outer_first = sorted(parts, key=lambda part: -extent(part))
    return TouchMap(svg_of(outer_first), keys[:KEYS_MOST], max(len(keys) - KEYS_MOST, 0))


def state_of(numbers: list[int], seen: Progress | None) -> PartState:
    if seen is None:
        return "planned"
    mine = [number for number in numbers if number >= seen.first]
    return "burnt" if mine and seen.done.issuperset(mine) else "planned"


def words_of(state: PartState, seen: Progress | None) -> str:
    if seen is None or not seen.listens:
        return ""
    return "cut" if state == "burnt" else _("not seen cut")


def seen_of(state: PartState, seen: Progress | None) -> str:
    if seen is None or not seen.listens:
        return ""
    return "yes" if state == "burnt" else "no"


def drawn_part(
    contour: Contour, state: PartState, name: str, paths: tuple[tuple[Path, ...], tuple[Path, ...]]
) -> Part:
    """A part, or one contour of it, named after that: ``paths`` are its loops and its leads."""
    url, (loops, leads) = f"#part-{contour.number}", paths
    return Part(str(contour.number), loops, state, url=url, name=name, leads=leads)


def extent(part: Part) -> float:
    points = [point for path in part.contours for point in path]
    if not points:
        return 0.0
    xs, ys = [x for x, _y in points], [y for _x, y in points]
    return (max(xs) - min(xs)) * (max(ys) - min(ys))


def svg_of(parts: list[Part]) -> Svg | None:
    drawable = [part for part in parts if part.contours]
    return parts_map(drawable, width=620, font_px=FONT_PX, least_px=LEAST_PX) if drawable else None
