"""The demo's plate: sheets as they come in, the remnants some nests leave and others use, and the
skeletons that go for scrap."""

from __future__ import annotations

from datetime import datetime, timedelta
from functools import cache
from random import Random

from planning.calc.cost import remnant_value
from shopfloor.demo import cast
from shopfloor.demo.catalogue import DESIGNS, Design
from shopfloor.demo.orders import read
from shopfloor.demo.rows import Lot
from shopfloor.models import Customer, Heat, Material, Sheet, SheetState, Shop

PLACES = ("rack A1", "rack A2", "rack B1", "rack B2", "rack C1")
BOUGHT_BEFORE = timedelta(days=3)
Kind = tuple[str, float, tuple[float, float]]  # material, thickness, sides


@cache
def parts_mm2(design: int) -> float:
    """Net area of the parts on one sheet."""
    return sum(contour.net_area_mm2 or 0.0 for contour in read(design).contours)


class Plate:
    """Hands out sheets and takes back what is left. Nothing is stored before `save`."""

    def __init__(self, random: Random) -> None:
        self.random = random
        self.shop = Shop.objects.get()
        self.materials = {material.code: material for material in Material.objects.all()}
        self.customers = {customer.name: customer for customer in Customer.objects.all()}
        self.heats: dict[str, Heat] = {}
        self.bought: list[Sheet] = []
        self.left: list[Sheet] = []  # remnants
        self.skeletons: list[Sheet] = []
        self.free: dict[Kind, list[Sheet]] = {}

    def sheet(self, lot: Lot, number: str, at: datetime) -> Sheet:
        """What a run of the lot is cut from at a time: a remnant where one of its size lies there,
        else a new sheet."""
        design = DESIGNS[lot.design]
        if design.from_remnant and not lot.order.own_plate:
            lying = self.free.get((design.material, design.thickness_mm, design.sheet), [])
            if lying and lying[0].received_at < at:
                return lying.pop(0)
        owner = self.customers[lot.order.customer] if lot.order.own_plate else None
        sheet = self._new(design, f"S-{number.zfill(4)}", owner, at - BOUGHT_BEFORE)
        self.bought.append(sheet)
        return sheet

    def cut(self, sheet: Sheet, index: int, at: datetime) -> None:
        """What is left once a design was cut from it: the whole end, and the skeleton. A
        customer's own goes back to them."""
        design = DESIGNS[index]
        sheet.state = SheetState.CUT
        rest = sheet.area_mm2 - parts_mm2(index)
        if design.leaves is not None:
            end = self._rest(sheet, "R1", design.leaves, design.leaves[0] * design.leaves[1], at)
            end.cost_minor = self._worth(end, self.shop.remnant_min_mm2)
            self.left.append(end)
            rest -= end.area_mm2
            if sheet.owner is not None:
                end.state = SheetState.RETURNED
            else:
                end.place = f"remnants {'AB'[len(self.left) % 2]}"
                kind = (design.material, design.thickness_mm, design.leaves)
                self.free.setdefault(kind, []).append(end)
        skeleton = self._rest(sheet, "K", design.area, rest, at)
        skeleton.cost_minor = self._worth(skeleton, float("inf"))
        skeleton.state = SheetState.CUT if sheet.owner is None else SheetState.RETURNED
        skeleton.note = "skeleton, sold by weight" if sheet.owner is None else "skeleton"
        self.skeletons.append(skeleton)

    def save(self) -> None:
        """Parents before what is left of them. Begins anew for what comes later."""
        for rows in (self.bought, self.left, self.skeletons):
            Sheet.objects.bulk_create(row for row in rows if row.pk is None)

    def _new(self, design: Design, code: str, owner: Customer | None, at: datetime) -> Sheet:
        length, width = design.sheet
        material = self.materials[design.material]
        if design.material not in self.heats or self.random.random() < 0.03:
            letters = f"{self.random.randint(2, 9)}{self.random.choice('BCDFGH')}"
            self.heats[design.material], _ = Heat.objects.get_or_create(
                number=f"{letters}-{self.random.randint(1000, 9999)}", material=material
            )
        kilos = length * width * design.thickness_mm * material.density_kg_m3 / 1e9
        price = round(kilos * cast.PRICE_PER_KG[design.material] * 100)
        return Sheet(
            code=code,
            material=material,
            thickness_mm=design.thickness_mm,
            thickness_text=design.thickness_text,
            length_mm=length,
            width_mm=width,
            area_mm2=length * width,
            heat=self.heats[design.material],
            owner=owner,
            cost_minor=0 if owner else price,
            place=self.random.choice(PLACES),
            received_at=at,
        )

    def _rest(
        self, sheet: Sheet, mark: str, sides: tuple[float, float], area_mm2: float, at: datetime
    ) -> Sheet:
        return Sheet(
            code=f"{sheet.code}-{mark}",
            material=sheet.material,
            thickness_mm=sheet.thickness_mm,
            thickness_text=sheet.thickness_text,
            length_mm=sides[0],
            width_mm=sides[1],
            area_mm2=area_mm2,
            heat=sheet.heat,
            owner=sheet.owner,
            parent=sheet,
            received_at=at,
        )

    def _worth(self, rest: Sheet, least_mm2: float) -> int:
        sheet = rest.parent
        if sheet is None or sheet.owner is not None or sheet.cost_minor is None:
            return 0
        return remnant_value(
            sheet.cost_minor,
            sheet.area_mm2,
            rest.area_mm2,
            factor=self.shop.remnant_factor,
            least_mm2=least_mm2,
            left_kg=rest.area_mm2 * rest.thickness_mm * 1e-9 * rest.material.density_kg_m3,
            scrap_minor_kg=self.shop.scrap_minor_kg,
        )
