"""Cells of long tables. Dash checks each name of each component it makes and looks for all of them
when it writes one: of a thousand cells that is most of a page."""

from __future__ import annotations

from typing import Any


class Mark:
    """A plain HTML element in a Dash page, named by its class; `props` as its page wants them, in
    any order and unchecked."""

    def __init__(self, children: Any, **props: Any) -> None:
        self.__dict__ = {"children": children, **props}

    def to_plotly_json(self) -> dict[str, Any]:
        kind = type(self).__name__
        return {"props": vars(self), "type": kind, "namespace": "dash_html_components"}


class A(Mark): ...


class Option(Mark): ...


class Span(Mark): ...


class Td(Mark): ...


class Tr(Mark): ...
