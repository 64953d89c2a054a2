"""DXF bytes for tests, written by ezdxf (an independent writer), never by our own code."""

from __future__ import annotations

import io
from collections.abc import Callable
from typing import Any

import ezdxf

MM, INCH, UNITLESS = 4, 1, 0


def dxf(draw: Callable[[Any], None], *, units: int = MM, release: str = "R2010") -> bytes:
    """What ``draw`` puts into a model space, as an ASCII file."""
    document = ezdxf.new(release)
    document.header["$INSUNITS"] = units
    draw(document.modelspace())
    text = io.StringIO()
    document.write(text)
    return text.getvalue().encode("utf-8", errors="surrogateescape")


def binary(draw: Callable[[Any], None], *, release: str = "R2010") -> bytes:
    document = ezdxf.new(release)
    document.header["$INSUNITS"] = MM
    draw(document.modelspace())
    held = io.BytesIO()
    document.write(held, fmt="bin")
    return held.getvalue()


def square(space: Any, x: float = 0.0, y: float = 0.0, side: float = 100.0, **more: Any) -> None:
    points = [(x, y), (x + side, y), (x + side, y + side), (x, y + side)]
    space.add_lwpolyline(points, close=True, **more)
