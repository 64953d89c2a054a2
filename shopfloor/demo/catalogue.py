"""What the invented shop is asked to cut: a couple of dozen nests that come back, in jobs."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from random import Random

from shopfloor.demo import shapes as p
from shopfloor.demo.cast import CUSTOMERS, OWN_PLATE
from shopfloor.demo.programs import NestProgram, nest

SHEET = (2440.0, 1220.0)
HALF = (1220.0, 1220.0)
STRIP = (680.0, 1220.0)


@dataclass(frozen=True, slots=True)
class Design:
    """One nest: what is on it, of what, and the set it is meant for. `leaves` is the end of the
    sheet that stays whole as a remnant; a sheet that size is `from_remnant` where one lies there,
    and bought where none does."""

    title: str
    material: str
    thickness_mm: float
    set: str
    sheet: tuple[float, float]
    parts: tuple[tuple[p.Shape, int], ...]
    u_range_asked: int | None = None
    next_step: str = ""
    leaves: tuple[float, float] | None = None
    from_remnant: bool = False

    @property
    def thickness_text(self) -> str:
        return f"{self.thickness_mm:g} mm"

    @property
    def area(self) -> tuple[float, float]:
        """What of the sheet the program may use."""
        return self.sheet[0] - (self.leaves[0] if self.leaves else 0.0), self.sheet[1]


# Parts take 70 to 85 % of what is used of a sheet, as is common practice (no source).
DESIGNS = (
    Design("Base plates", "A36", 20, "P120", SHEET, ((p.base_plate(590, 390, 26), 10),), 4, "weld"),
    Design("Base plates", "A36", 12, "P120", SHEET, ((p.base_plate(590, 290, 22), 14),), 4, "weld"),
    Design("Gussets", "A36", 10, "P120", HALF, ((p.gusset(380, 340, 18), 12),), None, "weld"),
    # Nobody asks for its edge, and fine costs more a metre: what the price of squareness shows.
    Design("Gussets", "A36", 12, "F80", HALF, ((p.gusset(400, 290, 22), 15),), None, "weld"),
    Design(
        "Flanges",
        "A36",
        12,
        "P120",
        HALF,
        ((p.flange(390, 160, 6, 22), 6), (p.cover(124), 6), (p.rib(590, 118), 6)),
        4,
        "",
    ),
    Design(
        "Flanges",
        "A36",
        20,
        "P120",
        HALF,
        ((p.flange(390, 170, 6, 26), 6), (p.cover(134), 6), (p.rib(590, 118), 6)),
        4,
        "",
    ),
    Design("Machine guards", "A36", 3, "F50", SHEET, ((p.guard(780, 570, 5), 6),), 3, "coat"),
    Design("Machine guards", "A36", 6, "F80", SHEET, ((p.guard(760, 560, 5), 6),), None, "coat"),
    Design("Hopper sides", "A36", 6, "P120", SHEET, ((p.hopper_side(660, 570), 8),), None, "bend"),
    Design(
        "Hopper sides",
        "A36",
        10,
        "P120",
        SHEET,
        ((p.hopper_side(660, 580), 4),),
        None,
        "weld",
        leaves=HALF,
    ),
    Design("Ribs", "A36", 10, "P120", SHEET, ((p.rib(590, 130), 30),), None, "weld"),
    Design("Ribs", "A36", 6, "F80", SHEET, ((p.rib(560, 110), 27),), None, "weld", leaves=STRIP),
    Design(
        "Brackets",
        "A36",
        6,
        "F80",
        STRIP,
        ((p.bracket(220, 200, 13), 20), (p.rib(320, 120), 2)),
        3,
        "bend",
        from_remnant=True,
    ),
    Design(
        "Brackets",
        "A36",
        10,
        "F80",
        HALF,
        ((p.bracket(410, 390, 18), 12),),
        3,
        "weld",
        from_remnant=True,
    ),
    Design("Screen panels", "304", 3, "F50", SHEET, ((p.guard(780, 570, 6), 6),), 2, ""),
    Design("Door skins", "304", 3, "F50", SHEET, ((p.guard(1150, 560, 4), 4),), 2, ""),
    Design("Cover plates", "304", 6, "F80", SHEET, ((p.base_plate(590, 390, 14), 10),), 3, ""),
    Design(
        "Flanges",
        "304",
        10,
        "P120",
        HALF,
        ((p.flange(390, 160, 6, 18), 6), (p.cover(124), 6), (p.rib(590, 118), 6)),
        4,
        "",
    ),
    Design("Deck brackets", "5052", 6, "F80", HALF, ((p.bracket(410, 385, 13), 11),), 3, ""),
    Design("Splash guards", "5052", 3, "F50", SHEET, ((p.guard(770, 560, 5), 6),), None, ""),
    Design(
        "Frame kit",
        "A36",
        10,
        "P120",
        SHEET,
        ((p.base_plate(470, 290, 18), 10), (p.gusset(400, 280, 14), 8), (p.rib(590, 118), 8)),
        None,
        "weld",
    ),
    Design(
        "Stand kit",
        "A36",
        6,
        "F80",
        SHEET,
        ((p.base_plate(470, 290, 14), 10), (p.bracket(420, 580, 11), 6)),
        3,
        "coat",
    ),
)


@cache
def program_of(index: int) -> NestProgram:
    design = DESIGNS[index]
    title = f"{design.title} {design.thickness_text} {design.material}"
    return nest(title, design.parts, design.area)


@dataclass(frozen=True, slots=True)
class Order:
    """A job: one or two designs, each on so many sheets."""

    number: int
    customer: str
    designs: tuple[tuple[int, int], ...]  # design index, sheets
    own_plate: bool = False  # the customer sends it

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
        customer = random.choice(CUSTOMERS)
        own = customer == OWN_PLATE and random.random() < 0.4
        made.append(Order(first_number + i, customer, designs, own))
    return made
