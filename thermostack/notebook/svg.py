"""Pictures as text: SVG by hand, with a name for screen readers, in the page's own ink."""

from __future__ import annotations

import html
import math
from collections.abc import Iterable, Sequence

__all__ = ["HATCHES", "area", "dot", "escape", "label", "line", "number", "path", "picture", "rect", "ticks"]

escape = html.escape

HATCHES = (
    '<defs><pattern id="tst-joint" width="6" height="6" patternUnits="userSpaceOnUse" patternTransform="rotate(45)">'
    '<path d="M0 0V6" stroke="var(--tst-hatch)" stroke-width="1.1"/></pattern>'
    '<pattern id="tst-spread" width="5" height="5" patternUnits="userSpaceOnUse" patternTransform="rotate(-45)">'
    '<path d="M0 0V5" stroke="currentColor" stroke-width="1.2"/></pattern>'
    '<pattern id="tst-flow" width="9" height="9" patternUnits="userSpaceOnUse">'
    '<circle cx="3" cy="3" r="1.1" fill="var(--tst-hatch)"/></pattern></defs>'
)
"""Of interfaces, of the spreading part of a drop, and of the coolant."""


def number(value: float) -> str:
    """Return a coordinate as short as it may be."""
    return f"{value:.1f}".removesuffix(".0")


def picture(width: float, height: float, name: str, body: Iterable[str]) -> str:
    """Return an SVG that scales with its place, named for those who do not see it."""
    return (
        f'<svg role="img" aria-label="{escape(name)}" viewBox="0 0 {number(width)} {number(height)}" '
        f'width="{number(width)}" preserveAspectRatio="xMidYMid meet" xmlns="http://www.w3.org/2000/svg">'
        f"{''.join(body)}</svg>"
    )


def rect(x: float, y: float, width: float, height: float, fill: str, stroke: str = "currentColor", **more: str) -> str:
    """Return a rectangle."""
    return (
        f'<rect x="{number(x)}" y="{number(y)}" width="{number(max(width, 0))}" height="{number(max(height, 0))}" '
        f'fill="{fill}" stroke="{stroke}"{_attributes(more)}/>'
    )


def line(x0: float, y0: float, x1: float, y1: float, stroke: str = "currentColor", **more: str) -> str:
    """Return a straight line."""
    return (
        f'<line x1="{number(x0)}" y1="{number(y0)}" x2="{number(x1)}" y2="{number(y1)}" stroke="{stroke}"'
        f"{_attributes(more)}/>"
    )


def path(points: Iterable[tuple[float, float]], stroke: str = "currentColor", **more: str) -> str:
    """Return a line through points; it is broken where one is not finite."""
    parts, pen = [], "M"
    for x, y in points:
        if not (math.isfinite(x) and math.isfinite(y)):
            pen = "M"
            continue
        parts.append(f"{pen}{number(x)} {number(y)}")
        pen = "L"
    return f'<path d="{"".join(parts)}" fill="none" stroke="{stroke}"{_attributes(more)}/>'


def area(points: Iterable[tuple[float, float]], fill: str, **more: str) -> str:
    """Return a filled polygon."""
    d = "L".join(f"{number(x)} {number(y)}" for x, y in points)
    return f'<path d="M{d}Z" fill="{fill}"{_attributes(more)}/>'


def dot(x: float, y: float, radius: float, stroke: str = "currentColor") -> str:
    """Return the mark of the present value."""
    return (
        f'<circle cx="{number(x)}" cy="{number(y)}" r="{number(radius)}" fill="var(--tst-joint)" stroke="{stroke}" '
        'stroke-width="1.7"/>'
    )


def label(x: float, y: float, text: str, anchor: str = "start", size: float = 12, **more: str) -> str:
    """Return a text."""
    return (
        f'<text x="{number(x)}" y="{number(y)}" text-anchor="{anchor}" font-size="{number(size)}"{_attributes(more)}>'
        f"{escape(text)}</text>"
    )


def _attributes(more: dict[str, str]) -> str:
    return "".join(f' {key.rstrip("_").replace("_", "-")}="{escape(value)}"' for key, value in more.items())


def ticks(low: float, high: float, most: int = 6, *, logarithmic: bool = False) -> Sequence[float]:
    """Return round numbers between two ends: every 1, 2 or 5; on a logarithmic scale 1, 2, 5 of each decade."""
    if logarithmic:
        decades = range(math.floor(math.log10(low)), math.ceil(math.log10(high)) + 1)
        for digits in ((1, 2, 5), (1, 3), (1,)):
            found = [d * 10.0**e for e in decades for d in digits if low * 0.999 <= d * 10.0**e <= high * 1.001]
            if len(found) <= most:
                break
        return found
    span = max(high - low, 1e-9)
    raw = span / most
    size = 10.0 ** math.floor(math.log10(raw))
    step = next(size * m for m in (1, 2, 5, 10) if size * m >= raw * 0.999)
    first = math.ceil(low / step - 1e-9)
    return [i * step for i in range(first, math.floor(high / step + 1e-9) + 1)]
