"""Pictures of a verdict and of a plan: drops that were to be expected, causes, and the chance to tell a drop."""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise

import numpy as np

from ..checking import Check
from ..planning import Plan
from . import svg
from .curves import Axis, frame

__all__ = ["CAUSES", "causes", "chances", "drop"]

WIDTH, HEIGHT = 600.0, 320.0
LEFT, RIGHT, TOP, BOTTOM = 20.0, 20.0, 72.0, 46.0
BINS = 48
CAUSES = 8
"""Most causes that are drawn, most probable first."""
SEEN, LEAST = 0.005, 3
"""Probability up to which a cause is not drawn, and how many are drawn all the same."""
BARS, FIGURE, TEXT, ROW = (300.0, 520.0), 532.0, 584.0, 38.0
COVER = 1.96
"""Standard uncertainties either side of 95 %."""
DASHES = ("", "9 3", "2 3", "9 3 2 3", "5 5")
INKS = ("var(--tst-accent)", "var(--tst-die)", "var(--tst-board)", "currentColor", "var(--tst-joint)")


def shown(value: float, digits: int = 1) -> str:
    """Return a number with a true minus sign; what rounds to nothing has none."""
    text = f"{value:.{digits}f}"
    return text.lstrip("-") if not text.strip("-0.") else text.replace("-", "−")


def drop(check: Check) -> str:
    """Return the drops that were to be expected, 95 % of them apart, and the one that was measured."""
    found = check.verdict.drop
    half = COVER * found.u_D
    counts, edges = (each.tolist() for each in np.histogram(found.samples, BINS, density=True))
    ends = (edges[0], edges[-1], found.measured - 1.3 * half, found.measured + 1.3 * half)
    room = 0.04 * (max(ends) - min(ends))
    x = Axis(min(ends) - room, max(ends) + room, (LEFT, WIDTH - RIGHT))
    floor = HEIGHT - BOTTOM
    y = Axis(0.0, 1.08 * max(counts), (floor, TOP))
    body = []
    for tick in x.ticks(8):
        body.append(svg.line(x(tick), floor, x(tick), floor + 5))
        body.append(svg.label(x(tick), floor + 18, f"{tick:g}".replace("-", "−"), "middle", class_="soft"))
    body.append(svg.label((LEFT + WIDTH - RIGHT) / 2, floor + 38, "drop at equal power [K]", "middle", 13))
    outline = _stairs(edges, counts, x, y)
    body.append(svg.area(outline, "var(--tst-solid)", opacity="0.45"))
    body.append(svg.area(_within(edges, counts, (found.low, found.high), x, y), "var(--tst-coolant)", opacity="0.75"))
    body.append(svg.path(outline, stroke_width="1.2"))
    body.append(svg.line(LEFT, floor, WIDTH - RIGHT, floor))
    body.append(svg.line(x(found.expected), TOP, x(found.expected), floor, stroke_width="1.6", stroke_dasharray="7 4"))
    at = y(0.5 * max(counts))
    body += _diamond(x(found.measured), at, x(found.measured - half), x(found.measured + half))
    texts = (
        f"95 % of what was to be expected: {shown(found.low)} … {shown(found.high)} K",
        f"expected {shown(found.expected)} K",
        f"measured {shown(found.measured)} K, 95 % of its error within ± {shown(half)} K",
    )
    body.append(svg.rect(LEFT, 5, 26, 12, "var(--tst-coolant)", opacity="0.75"))
    body.append(svg.line(LEFT, 31, LEFT + 26, 31, stroke_width="1.6", stroke_dasharray="7 4"))
    body += _diamond(LEFT + 13, 51, LEFT, LEFT + 26)
    body += [svg.label(LEFT + 36, 15 + 20 * i, text, size=13) for i, text in enumerate(texts)]
    name = f"Drops that were to be expected, and the measured one: {texts[2]}; {texts[1]}; {texts[0]}"
    return svg.picture(WIDTH, HEIGHT, name, body)


def _stairs(edges: Sequence[float], counts: Sequence[float], x: Axis, y: Axis) -> list[tuple[float, float]]:
    made = [(x(edges[0]), y(0.0))]
    for low, high, count in zip(edges[:-1], edges[1:], counts, strict=True):
        made += [(x(low), y(count)), (x(high), y(count))]
    return [*made, (x(edges[-1]), y(0.0))]


def _within(
    edges: Sequence[float], counts: Sequence[float], ends: tuple[float, float], x: Axis, y: Axis
) -> list[tuple[float, float]]:
    """Return the stairs between two ends, which may lie inside a step."""
    kept = [
        (max(low, ends[0]), min(high, ends[1]), count)
        for low, high, count in zip(edges[:-1], edges[1:], counts, strict=True)
        if high > ends[0] and low < ends[1]
    ]
    return _stairs([kept[0][0], *(high for _, high, _ in kept)], [count for _, _, count in kept], x, y)


def _diamond(x: float, y: float, low: float, high: float) -> list[str]:
    """Return the mark of what was measured, with its interval."""
    points = [(x - 7, y), (x, y - 7), (x + 7, y), (x, y + 7)]
    return [
        svg.line(low, y, high, y, stroke_width="2"),
        *(svg.line(end, y - 6, end, y + 6, stroke_width="2") for end in (low, high)),
        svg.area(points, "var(--tst-die)", stroke="currentColor", stroke_width="1.4"),
    ]


def causes(check: Check) -> str:
    """Return the most probable causes as bars, each with its range over half to double sizes and its group's letter."""
    table = check.causes.table.to_dict()
    every = len(table["cause"])
    probable = sum(float(high or 0.0) >= SEEN for high in table["high"])
    count = min(CAUSES, every, max(LEAST, probable))
    x = Axis(0.0, 1.0, BARS)
    bottom = 24 + ROW * count
    body = [
        svg.label(0, 13, "group and cause", class_="soft"),
        svg.label(BARS[0], 13, "probability; line: sizes half to double", class_="soft"),
        svg.label(TEXT, 13, "size, if so", class_="soft"),
    ]
    for tick in (0.0, 0.25, 0.5, 0.75, 1.0):
        body.append(svg.line(x(tick), 22, x(tick), bottom + 4, "var(--tst-rule)", stroke_width="1"))
        body.append(svg.label(x(tick), bottom + 18, f"{tick:g}", "middle", 11.5, class_="soft"))
    spoken = []
    for i in range(count):
        group, name, size, where = (str(table[key][i] or "") for key in ("group", "cause", "size", "told"))
        p, low, high = (float(table[key][i] or 0.0) for key in ("probability", "low", "high"))
        top = 24 + ROW * i
        middle = top + ROW / 2
        if i and table["group"][i - 1] != table["group"][i]:
            body.append(svg.line(0, top, BARS[1], top, "var(--tst-rule)", stroke_width="1"))
        body.append(svg.label(0, middle + 5, group, size=14, font_weight="600"))
        body.append(svg.label(24, middle - (3 if where else -4), name, size=13))
        if where:
            body.append(svg.label(24, middle + 12, where, size=11.5, class_="soft"))
        body.append(svg.rect(x(0.0), middle - 8, x(p) - x(0.0), 16, "var(--tst-joint)", stroke_width="1"))
        body.append(svg.line(x(low), middle, x(high), middle, stroke_width="2.2"))
        body += [svg.line(x(end), middle - 5, x(end), middle + 5, stroke_width="2.2") for end in (low, high)]
        body.append(svg.label(FIGURE, middle + 5, f"{p:.2f}", size=14))
        body.append(svg.label(TEXT, middle + 5, size, size=12.5))
        spoken.append(f"{group} {name} {p:.2f}")
    if every > count:
        body.append(svg.label(24, bottom + 18, f"{every - count} others are less probable", size=12, class_="soft"))
    name = f"What could explain the readings, by probability: {'; '.join(spoken)}"
    return svg.picture(760, bottom + 26, name, body)


def chances(plan: Plan) -> str:
    """Return the chance to tell each drop from scatter, over the number of mounts."""
    counts = [trial.mounts for trial in plan.trials]
    floor, top, right = HEIGHT - 48.0, 14.0, WIDTH - 118.0
    x = Axis(float(min(counts)), float(max(counts)), (56.0, right))
    y = Axis(0.0, 100.0, (floor, top))
    body = frame(x, y, "mounts before, and as many after", "chance to tell the drop [%]")
    body.append(svg.line(56, y(80), right, y(80), stroke_width="1.2", stroke_dasharray="2 3"))
    body.append(svg.label(right - 3, y(80) - 5, "four of five", "end", 11.5, class_="soft"))
    ends = []
    for i, size in enumerate(plan.drops):
        points = [(x(n), y(100 * trial.chances[i])) for n, trial in zip(counts, plan.trials, strict=True)]
        ink = INKS[i % len(INKS)]
        body.append(svg.path(points, ink, stroke_width="2.4", stroke_dasharray=DASHES[i % len(DASHES)]))
        ends.append((points[-1][1], f"drop of {size:.3g} K" + (" *" if _is(size, plan.predicted) else "")))
    for (_, text), at in zip(ends, _apart([at for at, _ in ends]), strict=True):
        body.append(svg.label(right + 8, at + 4, text, size=12.5))
    if any(text.endswith("*") for _, text in ends):
        body.append(svg.label(WIDTH, HEIGHT - 10, "* predicted", "end", 12, class_="soft"))
    least = [(size, plan.mounts_for(size)) for size in plan.drops]
    spoken = "; ".join(f"{size:.3g} K by {n if n else f'more than {max(counts)}'}" for size, n in least)
    name = f"Chance to tell a drop over the number of mounts; in four tests of five: {spoken}"
    return svg.picture(WIDTH, HEIGHT, name, body)


def _is(size: float, predicted: float) -> bool:
    return math.isclose(size, abs(predicted), rel_tol=1e-9)


def _apart(places: Sequence[float], pitch: float = 16.0) -> list[float]:
    """Return heights of labels moved apart, downwards, in the order of the curves."""
    made = list(places)
    order = sorted(range(len(made)), key=lambda i: made[i])
    for above, below in pairwise(order):
        made[below] = max(made[below], made[above] + pitch)
    return made
