"""The picture of a stack: a row a part, from the coolant down, told three ways side by side.

Section (to scale in width), temperature against depth, and the drop of each part with its spreading share, all in the
same rows, so that the eye goes straight from a layer to what it costs.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from ..prediction import Prediction
from ..stack.parts import Coolant, Die, Interface, Layer
from ..units import convert
from . import svg
from .style import FILLS

__all__ = ["column"]

WIDTH = 600.0
TOP, BOTTOM = 26.0, 34.0
HEIGHTS = {"solid": 50.0, "die": 50.0, "interface": 34.0, "coolant": 42.0}
SECTION = (122.0, 262.0)
PROFILE, BARS = (286.0, 404.0), (428.0, 536.0)
THIN = 0.7


def column(prediction: Prediction, baseline: Prediction | None = None) -> str:
    """Return the picture of a prediction; ticks in the bars tell what a part of this name costs in the baseline."""
    table = prediction.breakdown.to_dict()
    parts = {part.name: part for part in prediction.stack.parts()}
    rows = [i for i, name in enumerate(table["part"]) if name in parts][::-1]
    kinds = [_kind(parts[str(table["part"][i])]) for i in rows]
    tops, y = [], TOP
    for kind in kinds:
        tops.append(y)
        y += HEIGHTS[kind]
    body = [svg.HATCHES, *_heads(), *_axes(table, rows, y)]
    widths = _widths(prediction, [str(table["part"][i]) for i in rows])
    before = dict(zip(*(baseline.breakdown.to_dict()[k] for k in ("part", "drop_K")), strict=True)) if baseline else {}
    hot, cold, most = _scales(table, rows, before)
    for i, kind, top, share in zip(rows, kinds, tops, widths, strict=True):
        name, height = str(table["part"][i]), HEIGHTS[kind]
        body.append(svg.line(0, top, WIDTH, top, "var(--tst-rule)", stroke_width="1"))
        body += _section(prediction, parts[name], kind, top, height, share)
        body += _drop(table, i, top, height, most, before.get(name))
    corners = []
    for i, kind, top in zip(rows[::-1], kinds[::-1], tops[::-1], strict=True):
        for at, key in ((top + HEIGHTS[kind], "below_degC"), (top, "above_degC")):
            corners.append((_along(float(table[key][i]), cold, hot, PROFILE), at))  # type: ignore[arg-type]
    body.append(svg.path(corners, "var(--tst-accent)", stroke_width="2.5", stroke_linejoin="round"))
    body += _junction(prediction, corners[0], cold, hot)
    body.append(svg.line(0, y, WIDTH, y, "var(--tst-rule)", stroke_width="1"))
    return svg.picture(WIDTH, y + BOTTOM, _spoken(prediction, table, rows), body)


def _kind(part: object) -> str:
    if isinstance(part, Die):
        return "die"
    return "interface" if isinstance(part, Interface) else "coolant" if isinstance(part, Coolant) else "solid"


def _heads() -> list[str]:
    return [
        svg.label(0, 15, "part", class_="soft"),
        svg.label(sum(SECTION) / 2, 15, "section", "middle", class_="soft"),
        svg.label(sum(PROFILE) / 2, 15, "temperature [°C]", "middle", class_="soft"),
        svg.label(WIDTH, 15, "drop [K], hatched: spreading", "end", class_="soft"),
    ]


def _scales(table: Mapping[str, Any], rows: list[int], before: Mapping[Any, Any]) -> tuple[float, float, float]:
    """Return ends of the temperature axis and of the bars, rounded outwards so that they rest while values move."""
    cold = 10.0 * (min(float(table["above_degC"][i]) for i in rows) // 10)
    hot = 10.0 * (max(float(table["below_degC"][i]) for i in rows) // 10 + 1)
    drops = [float(table["drop_K"][i]) for i in rows] + [float(v) for k, v in before.items() if k != "coolant"]
    own = max(max(float(table["drop_K"][i]) for i in rows), max(drops[: len(rows)]))
    return hot, cold, 5.0 * (own // 5 + 1)


def _along(value: float, low: float, high: float, ends: tuple[float, float]) -> float:
    return ends[0] + (value - low) / (high - low) * (ends[1] - ends[0])


def _axes(table: Mapping[str, Any], rows: list[int], y: float) -> list[str]:
    hot, cold, most = _scales(table, rows, {})
    made = []
    for ends, low, high in ((PROFILE, cold, hot), (BARS, 0.0, most)):
        for tick in svg.ticks(low, high, 4):
            x = _along(tick, low, high, ends)
            made.append(svg.line(x, TOP, x, y + 5, "var(--tst-rule)", stroke_width="1"))
            made.append(svg.label(x, y + 18, f"{tick:g}", "middle", 11.5, class_="soft"))
    return made


def _widths(prediction: Prediction, names: list[str]) -> list[float]:
    """Return how wide each part is, as a share of the widest; a part without sides is as wide as what lies below."""
    values, widths, below = prediction.point.values, [], 0.0
    for name in names[::-1]:
        for path in (f"{name}.footprint_x", f"{name}.wetted_x"):
            if path in values:
                below = float(convert(_first(values(path)), "length"))
        widths.append(below)
    widest = max(widths) or 1.0
    return [width / widest for width in widths[::-1]]


def _first(value: Any) -> float:
    return float(value if isinstance(value, float | int) else value.flat[0])


def _section(prediction: Prediction, part: object, kind: str, top: float, height: float, share: float) -> list[str]:
    width = share * (SECTION[1] - SECTION[0])
    x = sum(SECTION) / 2 - width / 2
    made = []
    if kind == "coolant":
        made.append(svg.rect(x, top + 8, width, height - 8, FILLS["coolant"], "none", opacity="0.55"))
        made.append(svg.rect(x, top + 8, width, height - 8, "url(#tst-flow)", "none"))
        made.append(svg.line(x, top + height, x + width, top + height, stroke_width="1.4"))
    else:
        made.append(svg.rect(x, top, width, height, FILLS[kind], "var(--tst-hatch)", stroke_width="1.1"))
        if kind == "interface":
            made.append(svg.rect(x, top, width, height, "url(#tst-joint)", "none"))
    if kind == "die":  # where the heat is made
        made.append(svg.rect(x, top + height - 5, width, 5, "var(--tst-hatch)", "none"))
    name, detail = getattr(part, "name", ""), _detail(prediction, part)
    middle = top + height / 2
    made.append(svg.label(0, middle - 2, name, size=13.5, font_weight="600"))
    made.append(svg.label(0, middle + 13, detail, size=11.5, class_="soft"))
    return made


def _detail(prediction: Prediction, part: object) -> str:
    """Return material and thickness, or class and bond line, or what the coolant is, in a few words."""
    values = prediction.point.values
    name = getattr(part, "name", "")

    def shown(field: str, dimension: str, unit: str, digits: int = 3) -> str:
        return f"{float(convert(_first(values(f'{name}.{field}')), dimension)):.{digits}g} {unit}"

    if isinstance(part, Die | Layer):
        return f"{part.material.name}, {shown('thickness', 'length', 'mm')}"
    if isinstance(part, Interface):
        if f"{name}.bond_line" in values:
            return shown("bond_line", "bond line", "µm")
        return shown("resistance", "specific resistance", "mm²·K/W") if f"{name}.resistance" in values else ""
    if f"{name}.conductance" in values:
        return shown("conductance", "conductance", "kW/m²/K")
    return shown("resistance", "resistance", "K/W") if f"{name}.resistance" in values else ""


def _drop(table: Mapping[str, Any], i: int, top: float, height: float, most: float, before: float | None) -> list[str]:
    """Return the bar of a part: its one-dimensional share, then its spreading share hatched; negative ones go left."""
    drop = float(table["drop_K"][i])
    whole = float(table["resistance_K_per_W"][i])
    straight = drop * float(table["one_dimensional_K_per_W"][i]) / whole if whole else drop
    thick = height * THIN if height < 40 else height * 0.52
    y = top + (height - thick) / 2
    x0 = BARS[0]
    made = []
    x1 = _along(max(min(straight, drop), 0.0), 0.0, most, BARS)
    made.append(svg.rect(x0, y, x1 - x0, thick, "var(--tst-accent)", "none"))
    x2 = _along(max(drop, 0.0), 0.0, most, BARS)
    if drop - straight > 0.005:
        made.append(svg.rect(x1, y, x2 - x1, thick, "url(#tst-spread)", stroke_width="1"))
    if before is not None and abs(before - drop) > 0.05:
        x = min(_along(max(before, 0.0), 0.0, most, BARS), BARS[1] + 6)
        made.append(svg.line(x, y - 4, x, y + thick + 4, stroke_width="2.5"))
    made.append(svg.label(WIDTH - 1, top + height / 2 - 1, f"{drop:.2f} K", "end", 13.5))
    made.append(svg.label(WIDTH - 1, top + height / 2 + 13, f"{float(table['share_percent'][i]):.0f} %", "end", 11.5,
                          class_="soft"))  # fmt: skip
    return made


def _junction(prediction: Prediction, start: tuple[float, float], cold: float, hot: float) -> list[str]:
    celsius = float(prediction.junction.magnitude)
    x = min(_along(celsius, cold, hot, PROFILE), PROFILE[1] + 14)
    return [
        svg.path([(x - 5, start[1] - 5), (x + 5, start[1] + 5)], stroke_width="2"),
        svg.path([(x - 5, start[1] + 5), (x + 5, start[1] - 5)], stroke_width="2"),
        svg.label(x + 9, start[1] - 2, "junction", size=11),
    ]


def _spoken(prediction: Prediction, table: Mapping[str, Any], rows: list[int]) -> str:
    """Return the picture in a sentence."""
    drops = ", ".join(f"{table['part'][i]} {float(table['drop_K'][i]):.2f} K" for i in rows)
    return (
        f"Section, temperature against depth and drops of {prediction.stack.label}: junction "
        f"{float(prediction.junction.magnitude):.1f} °C; from the coolant down: {drops}."
    )
