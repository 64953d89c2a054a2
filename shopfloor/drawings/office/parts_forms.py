"""The forms of a list of parts: what is brought, and a line for each drawing."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING, Any, Final

from django import forms
from django.core.exceptions import ValidationError
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _lazy

from planning.calc import drawing as calc
from planning.calc.drawing.measure import drawn_on
from planning.calc.said import to_reader, told
from shopfloor.chart.thickness import thickness_of
from shopfloor.drawings.bring import MOST_FILES, MOST_NAME, PartFound
from shopfloor.drawings.office.read import UNITS
from shopfloor.drawings.parts import PartToKeep, same_part
from shopfloor.models import Drawing, Material

MOST_PARTS: Final = 100_000
MOST_LAYERS: Final = 20
DEFAULTS: Final = ("quantity", "material", "thickness_text", "unit")
PREFIX: Final = "part"
LABELS: Final = {
    "take": _lazy("Take"), "name": _lazy("Part"), "quantity": _lazy("Quantity"),
    "material": _lazy("Material"), "thickness_text": _lazy("Thickness"), "unit": _lazy("Drawn in"),
}  # fmt: skip


class ManyFiles(forms.ClearableFileInput):
    allow_multiple_selected = True


class BringForm(forms.Form):
    """What holds for every drawing whose name does not say it."""

    drawings = forms.FileField(
        widget=ManyFiles(attrs={"accept": ".dxf,.zip,.csv,.xlsx"}), required=False,
        label=_lazy("Drawings (DXF), or a ZIP of them"),
        help_text=_lazy("choose several at once; a list of them (CSV or XLSX) may be among them"),
    )  # fmt: skip
    quantity = forms.CharField(
        max_length=12, required=False, label=_lazy("Quantity of each"),
        help_text=_lazy("what is filled in here counts where a part says nothing"),
    )  # fmt: skip
    material = forms.ModelChoiceField(
        Material.objects.all(), required=False, to_field_name="code", empty_label=_lazy("choose")
    )
    thickness_text = forms.CharField(max_length=40, required=False, label=_lazy("Thickness"))
    unit = forms.ChoiceField(choices=UNITS, required=False, label=_lazy("Drawn in"))


class PartForm(forms.Form):
    """One drawing: what it is and how it is read. `read` or `problem` is what came of reading."""

    take = forms.BooleanField(required=False, label=LABELS["take"])
    digest = forms.CharField(widget=forms.HiddenInput(), required=False, max_length=64)
    file_name = forms.CharField(widget=forms.HiddenInput(), required=False, max_length=MOST_NAME)
    source = forms.CharField(widget=forms.HiddenInput(), required=False, max_length=300)
    name = forms.CharField(max_length=80, required=False)
    quantity = forms.IntegerField(min_value=1, max_value=MOST_PARTS, required=False)
    thickness_text = forms.CharField(max_length=40, required=False, label=LABELS["thickness_text"])
    unit = forms.ChoiceField(choices=UNITS, required=False, label=LABELS["unit"])

    def __init__(self, *args: Any, materials: Sequence[Material] = (), **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.materials = {row.code: row for row in materials}
        self.fields["material"] = forms.ChoiceField(
            required=False, choices=[("", _("choose")), *((code, code) for code in self.materials)]
        )
        for name, words in LABELS.items():
            self.fields[name].widget.attrs["aria-label"] = f"{words}, {self.value('file_name')}"
        self.raw: bytes | None = None
        self.read: calc.Drawing | None = None
        self.problem: ValueError | None = None
        self.known: Drawing | None = None
        self.part: PartToKeep | None = None

    def value(self, name: str) -> str:
        return str(self.data.get(self.add_prefix(name), ""))

    @property
    def layers_chosen(self) -> list[str]:
        """Layers that a person wants cut though they are passed over."""
        held = self.data
        key = self.add_prefix("layers")
        found = held.getlist(key) if hasattr(held, "getlist") else held.get(key, [])
        return [str(each) for each in found][:MOST_LAYERS]

    @property
    def layers_passed(self) -> list[calc.Layer]:
        """Those to choose from: in the drawing as read, or in the refusal."""
        where = self.read or self.problem
        layers: Iterable[calc.Layer] = getattr(where, "layers", ())
        chosen = self.layers_chosen
        return [
            each for each in layers
            if drawn_on(each) and (each.role == "ignore" or each.name in chosen)
        ][:MOST_LAYERS]  # fmt: skip

    @property
    def mendable(self) -> bool:
        """Whether something on the page makes a drawing of what could not be read."""
        return isinstance(self.problem, calc.UnitUnknown | calc.NothingUsed)

    @property
    def why_not(self) -> str:
        problem = self.problem
        if not isinstance(problem, calc.DrawingError):
            return "" if problem is None else to_reader(told(problem), inch=False)
        return to_reader(problem.message, inch=False)

    @property
    def where(self) -> str:
        """The file, and the line or entity in it that cannot be read."""
        place = getattr(self.problem, "place", None)
        return self.value("file_name") + ("" if place in (None, "1") else f":{place}")

    @property
    def holes(self) -> int:
        return 0 if self.read is None else sum(c.kind == "hole" for c in self.read.contours)

    def reading(self) -> calc.Reading:
        unit = self.value("unit")
        return calc.Reading(
            unit=unit if unit in calc.UNITS_MM else None,
            roles=dict.fromkeys(self.layers_chosen, "cut"),
        )

    def clean(self) -> dict[str, Any]:
        """What is missing counts only where the part is taken."""
        said = dict(super().clean() or {})
        if not said.get("take") or (self.read is None and not self.mendable):
            self.errors.clear()
            return said
        if self.read is None or self.raw is None:
            self.add_error("take", self.why_not)
        for name in ("name", "quantity", "material", "thickness_text"):
            if not said.get(name) and not self.has_error(name):
                self.add_error(name, _("missing"))
        if not self.errors and self.read is not None and self.raw is not None:
            self._part(said, self.raw, self.read)
        return said

    def _part(self, said: dict[str, Any], raw: bytes, read: calc.Drawing) -> None:
        material = self.materials[said["material"]]
        try:
            size = thickness_of(said["thickness_text"], material)
        except ValidationError as problem:
            self.add_error("thickness_text", " ".join(problem.messages))
            return
        self.known, same = same_part(said["name"], material, size.nominal_mm)
        if self.known is not None and not same:
            self.add_error(
                "name",
                _("A drawing of this name is of {thickness} {material}: name it apart.").format(
                    thickness=self.known.thickness_text, material=self.known.material.code
                ),
            )
            return
        self.part = PartToKeep(
            said["name"].strip(), said["file_name"], raw, self.reading(), read, material,
            said["thickness_text"], size.nominal_mm, said["quantity"],
        )  # fmt: skip


if TYPE_CHECKING:
    _Base = forms.BaseFormSet[PartForm]
else:
    _Base = forms.BaseFormSet


class _Parts(_Base):
    def clean(self) -> None:
        """Two parts of one name would be one drawing."""
        seen: dict[str, PartForm] = {}
        for form in self.forms:
            if form.part is None:
                continue
            other = seen.setdefault(form.part.name.casefold(), form)
            if other is not form:
                form.add_error("name", _("another part of the list has this name"))
                form.part = None


PartsFormSet = forms.formset_factory(
    PartForm, formset=_Parts, extra=0, max_num=MOST_FILES, absolute_max=MOST_FILES
)


def rows_of(parts: Sequence[PartFound], first: int) -> dict[str, str]:
    """Form data of parts that were brought, numbered from `first`."""
    data: dict[str, str] = {}
    for number, each in enumerate(parts, first):
        at = f"{PREFIX}-{number}-"
        data |= {
            f"{at}take": "on", f"{at}digest": each.digest, f"{at}file_name": each.file_name,
            f"{at}source": each.source, f"{at}name": each.part, f"{at}quantity": each.quantity,
            f"{at}material": each.material, f"{at}thickness_text": each.thickness,
        }  # fmt: skip
    return data
