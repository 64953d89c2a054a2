"""What the invented shop is asked to cut: a couple of dozen nests that come back, in jobs."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from random import Random

from shopfloor.demo import programs as p
from shopfloor.demo.cast import CUSTOMERS

SHEET = (2440.0, 1220.0)
HALF = (1220.0, 1220.0)


@dataclass(frozen=True, slots=True)
class Design:
    """One nest: what is on it, of what, and the set it is meant for."""

    title: str
    material: str
    thickness_mm: float
    set: str
    sheet: tuple[float, float]
    parts: tuple[tuple[p.Shape, int], ...]
    u_range_asked: int | None = None
    next_step: str = ""

    @property
    def thickness_text(self) -> str:
        return f"{self.thickness_mm:g} mm"


DESIGNS = (
    Design("Base plates", "A36", 20, "P120", SHEET, ((p.base_plate(420, 320, 26), 11),), 4, "weld"),
    Design("Base plates", "A36", 12, "P120", SHEET, ((p.base_plate(300, 220, 22), 14),), 4, "weld"),
    Design("Gussets", "A36", 10, "P120", HALF, ((p.gusset(260, 220, 18), 16),), None, "weld"),
    Design("Gussets", "A36", 12, "P120", HALF, ((p.gusset(320, 240, 22), 12),), None, "weld"),
    Design("Flanges", "A36", 12, "P120", SHEET, ((p.flange(340, 160, 6, 22), 8),), 4, ""),
    Design("Flanges", "A36", 20, "P120", SHEET, ((p.flange(420, 220, 8, 26), 6),), 4, ""),
    Design("Machine guards", "A36", 3, "F50", SHEET, ((p.guard(700, 500, 7), 4),), 3, "coat"),
    Design("Machine guards", "A36", 6, "F80", SHEET, ((p.guard(640, 460, 6), 5),), None, "coat"),
    Design("Hopper sides", "A36", 6, "P120", SHEET, ((p.hopper_side(720, 520), 6),), None, "bend"),
    Design("Hopper sides", "A36", 10, "P120", SHEET, ((p.hopper_side(680, 480), 7),), None, "weld"),
    Design("Ribs", "A36", 10, "P120", SHEET, ((p.rib(520, 110), 30),), None, "weld"),
    Design("Ribs", "A36", 6, "F80", SHEET, ((p.rib(420, 90), 34),), None, "weld"),
    Design("Brackets", "A36", 6, "F80", HALF, ((p.bracket(220, 200, 13), 14),), 3, "bend"),
    Design("Brackets", "A36", 10, "F80", HALF, ((p.bracket(240, 220, 18), 13),), 3, "weld"),
    Design("Screen panels", "304", 3, "F50", SHEET, ((p.guard(760, 520, 9), 4),), 2, ""),
    Design("Door skins", "304", 3, "F50", SHEET, ((p.guard(900, 560, 4), 3),), 2, ""),
    Design("Cover plates", "304", 6, "F80", SHEET, ((p.base_plate(280, 240, 14), 14),), 3, ""),
    Design("Flanges", "304", 10, "P120", SHEET, ((p.flange(300, 140, 6, 18), 8),), 4, ""),
    Design("Deck brackets", "5052", 6, "F80", HALF, ((p.bracket(260, 240, 13), 10),), 3, ""),
    Design("Splash guards", "5052", 3, "F50", SHEET, ((p.guard(820, 480, 6), 4),), None, ""),
    Design(
        "Frame kit",
        "A36",
        10,
        "P120",
        SHEET,
        ((p.base_plate(260, 200, 18), 10), (p.gusset(200, 180, 14), 14), (p.rib(400, 90), 8)),
        None,
        "weld",
    ),
    Design(
        "Stand kit",
        "A36",
        6,
        "F80",
        SHEET,
        ((p.base_plate(240, 200, 14), 10), (p.bracket(180, 160, 11), 12)),
        3,
        "coat",
    ),
)


@cache
def program_of(index: int) -> p.NestProgram:
    design = DESIGNS[index]
    title = f"{design.title} {design.thickness_text} {design.material}"
    return p.nest(title, design.parts, design.sheet)


@dataclass(frozen=True, slots=True)
class Order:
    """A job: one or two designs, each on so many sheets. `shared_with` is the number of an
    earlier order whose parts lie on the same sheets."""

    number: int
    customer: str
    designs: tuple[tuple[int, int], ...]  # design index, sheets

    @property
    def title(self) -> str:
        design = DESIGNS[self.designs[0][0]]
        return f"{design.title}, {design.thickness_text} {design.material}"


def orders(random: Random, count: int, first_number: int = 2101) -> list[Order]:
    """So many jobs, the same for the same generator."""
    made = []
    for i in range(count):
        size = 2 if random.random() < 0.25 else 1
        chosen = random.sample(range(len(DESIGNS)), size)
        designs = tuple((index, random.randint(5, 16)) for index in chosen)
        made.append(Order(first_number + i, random.choice(CUSTOMERS), designs))
    return made
