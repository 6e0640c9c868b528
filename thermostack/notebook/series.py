"""The picture of a log: temperatures over time, with the window of a reading and its means."""

from __future__ import annotations

import math

import numpy as np

from ..measured.log import Log
from ..measured.reading import Reading
from ..plots.recorded import marked, outline
from ..units import convert
from . import svg
from .curves import Axis, frame

__all__ = ["series"]

WIDTH, HEIGHT = 600.0, 310.0
LEFT, RIGHT, TOP, BOTTOM = 56.0, 104.0, 14.0, 48.0
MOST = 260
"""Stretches a line is drawn in; of each the lowest and the highest value are kept."""
DASHES = ("none", "7 3", "2 3", "9 3 2 3")


def series(log: Log, reading: Reading | None, window: tuple[float, float] | None = None) -> str:
    """Return the picture of a log.

    Parameters
    ----------
    log : Log
    reading : Reading or None
        Of this log; None where there is none.
    window : pair of float, optional
        What is shaded, in seconds; by default that of the reading.
    """
    sensors = reading.sensors if reading is not None else log.of_role("sensor")
    coolants = log.of_role("coolant") or log.of_role("ambient")
    lines = {name: outline(log.time, np.asarray(convert(log.values[name], "temperature")), MOST)
             for name in (*sensors, *coolants)}  # fmt: skip
    finite = np.concatenate([v[np.isfinite(v)] for _, v in lines.values()])
    low, high = np.quantile(finite, [0.002, 0.998]) if len(finite) else (0.0, 1.0)
    room = 0.06 * max(high - low, 1.0)
    x = Axis(0.0, float(log.time[-1]) / 60, (LEFT, WIDTH - RIGHT))
    y = Axis(float(low) - room, float(high) + room, (HEIGHT - BOTTOM, TOP))
    body = frame(x, y, "time [min]", "temperature [°C]")
    window = window or (reading.window if reading is not None else None)
    if window is not None:
        x0, x1 = x(window[0] / 60), x(window[1] / 60)
        body.append(svg.rect(x0, TOP, x1 - x0, HEIGHT - BOTTOM - TOP, "var(--tst-joint)", "currentColor",
                             fill_opacity="0.16", stroke_width="1.4"))  # fmt: skip
    for flag in marked(reading.flags if reading is not None else ()):
        at = x(flag.start / 60)
        body.append(svg.line(at, HEIGHT - BOTTOM - 12, at, HEIGHT - BOTTOM, "var(--tst-warn)", stroke_width="3"))
    ends: list[tuple[float, str]] = []
    inside = svg.rect(LEFT, TOP, WIDTH - LEFT - RIGHT, HEIGHT - TOP - BOTTOM, "none", "none")
    body.append(f'<clipPath id="tst-log">{inside}</clipPath><g clip-path="url(#tst-log)">')
    for i, (name, (time, values)) in enumerate(lines.items()):
        cold = name in coolants
        dash = DASHES[(i if not cold else i - len(sensors)) % len(DASHES)]
        points = [(x(t / 60), y(v) if math.isfinite(v) else math.nan) for t, v in zip(time, values, strict=True)]
        body.append(svg.path(points, "var(--tst-coolant)" if cold else "var(--tst-die)", stroke_width="1.1",
                             stroke_dasharray=dash, opacity="0.9"))  # fmt: skip
        last = values[np.isfinite(values)]
        if len(last):
            ends.append((y(float(np.median(last[-max(len(last) // 20, 1) :]))), name))
    body.append("</g>")
    if reading is not None and window is not None:
        for name, mean in zip(reading.names, reading.means, strict=True):
            if name != "power":
                at = y(float(convert(mean, "temperature")))
                body.append(svg.line(x(window[0] / 60), at, x(window[1] / 60), at, stroke_width="1.8"))
    body += _names(ends, len(sensors))
    return svg.picture(WIDTH, HEIGHT, _spoken(log, reading), body)


def _names(ends: list[tuple[float, str]], sensors: int) -> list[str]:
    """Return the names at the ends of the lines, apart from one another."""
    made, last = [], -math.inf
    for i in sorted(range(len(ends)), key=lambda i: ends[i][0]):
        at = max(ends[i][0], last + 14)
        last = at
        cold = i >= sensors
        dash = DASHES[(i - sensors if cold else i) % len(DASHES)]
        x = WIDTH - RIGHT + 6
        made.append(svg.line(x, at, x + 20, at, "var(--tst-coolant)" if cold else "var(--tst-die)", stroke_width="2",
                             stroke_dasharray=dash))  # fmt: skip
        made.append(svg.label(x + 26, at + 4, ends[i][1][:14], size=12))
    return made


def _spoken(log: Log, reading: Reading | None) -> str:
    minutes = float(log.time[-1]) / 60
    if reading is None or reading.window is None:
        return f"Temperatures of {log.source} over {minutes:.0f} minutes; no steady window"
    start, end = (each / 60 for each in reading.window)
    rise = float(np.mean(reading.rise))
    return (
        f"Temperatures of {log.source} over {minutes:.0f} minutes; steady from minute {start:.1f} to {end:.1f} at "
        f"{reading.power:.1f} W, sensors {rise:.2f} K above the coolant on the average"
    )
