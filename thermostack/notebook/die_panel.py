"""The die: its regions, the temperature of any level of it, the hottest point, and a cross-section."""

from __future__ import annotations

import html
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import ipywidgets as widgets
import numpy as np

from ..field import HotPoint, Map, Slice
from ..prediction import Prediction
from ..stack.parts import Die
from . import svg
from .bench import Bench
from .curves import Axis, key
from .fields import bands
from .latest import Latest, Stop
from .parts import Frame, choice, columns, figures, foldable, heading

__all__ = ["DiePanel"]

POINTS = 61
WIDTH, MAP_TALL, GAP = 600.0, 270.0, 46.0
STRETCH = 3.0
"""Heights in the section, over widths."""
SECTION_TALL = 150.0
HALO = {"stroke": "#000", "stroke_width": "3", "stroke_linejoin": "round", "paint_order": "stroke"}


@dataclass(frozen=True)
class _Found:
    """What the slow part brings."""

    map: Map
    hottest: HotPoint
    section: tuple[Slice, ...]
    at: float


class DiePanel(Frame):
    """A die of the variant shown: map, hottest point, section.

    Parameters
    ----------
    bench : Bench, or whatever a `Bench` is made of
    """

    def __init__(self, bench: Any) -> None:
        super().__init__()
        self.bench = bench if isinstance(bench, Bench) else Bench(bench)
        self._work = Latest("later", pause=0.15)
        self._found: _Found | None = None
        self.figures, self.picture, self.table = widgets.HTML(), widgets.HTML(), widgets.HTML()
        variants = [(label, i) for i, label in enumerate(self.bench.labels)]
        self.variant = choice("variant", variants, self.bench.shown, lambda i: self._do(lambda: self.bench.show(i)))
        names = [die.name for die in self.bench.variants[self.bench.shown].dies]
        self.die = choice("die", [(n, n) for n in names], names[0], lambda _: self._do(self._ask))
        self.depth = self._slider(
            "level", 0.0, 1.0, 0.0, 0.05, "level in the die, 0 is the active face, 1 the upper face"
        )
        self.depth.observe(lambda _: self._do(self._ask), "value")
        half = max(float(die.footprint[1].si) for die in self.bench.variants[self.bench.shown].dies) * 500
        self.y = self._slider("section at y [mm]", -round(half, 1), round(half, 1), 0.0, 0.1, "section at y in mm")
        self.y.observe(lambda _: self._do(self._ask), "value")
        self.powers: dict[str, Any] = {}
        self._powers = widgets.VBox()
        controls = widgets.VBox([self.variant, self.die, self.depth, self.y, self._powers])
        answer = widgets.VBox([self.figures, self.picture, self.table])
        self.frame(heading("The die"), columns(controls, answer))
        self.bench.failures.append(self.alert.show)
        with self.alert.guard():
            self._build()
            self._draw()
            self._ask()
            self.bench.listen(self._heard)

    def _slider(self, text: str, low: float, high: float, now: float, step: float, name: str) -> Any:
        return widgets.FloatSlider(
            value=now, min=low, max=high, step=step, description=text, tooltip=name, readout_format=".3g",
            layout={"width": "100%"},
        )  # fmt: skip

    def _build(self) -> None:
        """Make a slider for the power of each region; the old ones are deaf."""
        for old in self.powers.values():
            old.unobserve_all("value")
        self.powers = {}
        for die in self.bench.variants[self.bench.shown].dies:
            for region in die.power.regions:
                path, now = f"{region.name}.power", region.power.si
                made = self._slider(
                    f"{region.name} [W]", 0.0, round(3 * now + 1, 0), now, 0.5, f"power of {region.name} in W"
                )
                made.observe(lambda change, path=path: self._do(lambda: self._power(path, change["new"])), "value")
                if path in self.bench.values:
                    made.value = self.bench.values[path]
                self.powers[path] = made
        title = [widgets.HTML("<h4>power of the regions</h4>")] if self.powers else []
        self._powers.children = [*title, *self.powers.values()]

    def _power(self, path: str, watts: float) -> None:
        self.bench.move(path, float(f"{watts:.4g}"))

    def _do(self, action: Any) -> None:
        with self.alert.guard():
            action()

    def _heard(self, event: str) -> None:
        with self.alert.guard(keep=True):
            if event == "variant":
                self.variant.value = self.bench.shown
                self._build()
            if event in ("moved", "variant", "settled"):
                self._draw()
            if event == "settled":
                self._ask()

    # -- the slow part

    def _ask(self) -> None:
        """Have the maps worked out from the exact answer; until it has come there is nothing to ask."""
        if not self.bench.settled:
            return
        prediction, die = self.bench.answer(), self.die.value
        depth, y = round(self.depth.value, 3), round(self.y.value, 2)

        def work(stop: Stop) -> _Found | None:
            field = prediction.field
            made = field.temperature(die, depth, points=POINTS)
            hottest = field.hottest(die, depth)
            if stop():
                return None
            return _Found(made, hottest, field.section(f"{y} mm", points=61, levels=7), y)

        def arrived(found: _Found | None) -> None:
            if found is not None:
                self._found = found
                self._draw()

        self._work.ask(work, arrived, self.alert.show)

    # -- the picture

    def _draw(self) -> None:
        bench, found = self.bench, self._found
        shown = bench.answer()
        entries = [("junction", f"{float(shown.junction.magnitude):.1f}", "°C", "of all dies"),
                   ("mean of the die", f"{float(shown.mean.magnitude):.1f}", "°C", "")]  # fmt: skip
        if found is not None:
            hot = found.hottest
            where = f"x {hot.x:.1f} mm, y {hot.y:.1f} mm".replace("-", "−")
            level = "active face" if self.depth.value == 0 else f"level {self.depth.value:.2g}"
            entries.append((f"hottest, {level}", f"{hot.temperature:.1f}", "°C", where))
            entries.append(("coldest there", f"{found.map.values.min():.1f}", "°C", ""))
            stale = self._work.busy or not bench.settled
            picture = _picture(shown, self.die.value, found)
            self.picture.value = f'<div style="opacity:{0.55 if stale else 1}">{picture}</div>'
        else:
            self.picture.value = '<div class="tst-status">working out the map …</div>'
        self.figures.value = figures(entries)
        self.table.value = foldable(
            "Regions as a table", f'<div class="tst-scroll">{shown.sensors._repr_html_()}</div>'
        )


def _picture(prediction: Prediction, die: str, found: _Found) -> str:
    """Return map and section, on one scale of colours."""
    values = [found.map.values, *(piece.values for piece in found.section)]
    low, high = min(float(v.min()) for v in values), max(float(v.max()) for v in values)
    levels = svg.ticks(low, high, 20)
    body = [*_map(prediction, die, found, levels, (low, high))]
    body += _section(found, levels, (low, high), MAP_TALL + GAP)
    body += key(low, high, levels, WIDTH - 50, 8, MAP_TALL)
    hot = found.hottest
    name = (
        f"Temperature of {die}: hottest {hot.temperature:.1f} °C at x {hot.x:.1f} mm, y {hot.y:.1f} mm; below it a "
        f"section along x at y {found.at:.1f} mm from {low:.1f} to {high:.1f} °C"
    )
    return svg.picture(WIDTH, MAP_TALL + GAP + SECTION_TALL + 44, name, body)


def _map(
    prediction: Prediction, die: str, found: _Found, levels: Sequence[float], ends: tuple[float, float]
) -> list[str]:
    made_map = found.map
    wide, tall = np.ptp(made_map.x), np.ptp(made_map.y)
    scale = min((WIDTH - 150) / wide, (MAP_TALL - 20) / tall)
    left = 48 + ((WIDTH - 150) - scale * wide) / 2
    x = Axis(float(made_map.x[0]), float(made_map.x[-1]), (left, left + scale * wide))
    y = Axis(float(made_map.y[0]), float(made_map.y[-1]), (MAP_TALL, MAP_TALL - scale * tall))
    xs, ys = (np.array([axis(float(v)) for v in given]) for axis, given in ((x, made_map.x), (y, made_map.y)))
    body = bands(xs, ys, made_map.values, levels, ends=ends)[0]
    body.append(svg.rect(x.ends[0], y.ends[1], scale * wide, scale * tall, "none", stroke_width="1.4"))
    part = next(d for d in prediction.stack.dies if d.name == die)
    body += _regions(part, x, y)
    at = y(found.at)
    body.append(svg.line(x.ends[0] - 8, at, x.ends[1] + 8, at, "#000", stroke_width="3", opacity="0.5"))
    body.append(svg.line(x.ends[0] - 8, at, x.ends[1] + 8, at, "#fff", stroke_width="1.3", stroke_dasharray="6 4"))
    px, py = x(found.hottest.x), y(found.hottest.y)
    for stroke, thick in (("#000", "5"), ("#fff", "2.2")):
        body.append(svg.path([(px - 6, py - 6), (px + 6, py + 6)], stroke, stroke_width=thick))
        body.append(svg.path([(px - 6, py + 6), (px + 6, py - 6)], stroke, stroke_width=thick))
    body += _sides(x, y, "x [mm]", "y [mm]")
    return body


def _regions(die: Die, x: Axis, y: Axis) -> list[str]:
    """Return the outlines of the regions, named where there is room."""
    made = []
    x0, y0 = x.low, y.low
    for region in die.power.regions:
        wide, tall = (1e3 * side.si for side in region.size)
        corner_x, corner_y = (1e3 * each.si for each in region.corner)
        left = x.high - corner_x - wide if die.mirrored else x0 + corner_x
        box = x(left), y(y0 + corner_y + tall), x(left + wide) - x(left), y(y0 + corner_y) - y(y0 + corner_y + tall)
        made.append(svg.rect(*box, "none", "#000", stroke_width="2.6", opacity="0.55"))
        made.append(svg.rect(*box, "none", "#fff", stroke_width="1.1"))
        if len(region.name) * 6.6 < box[2] - 4 and box[3] > 16:
            made.append(
                f'<text x="{svg.number(box[0] + 4)}" y="{svg.number(box[1] + 13)}" font-size="11.5" style="fill:#fff" '
                + " ".join(f'{k.replace("_", "-")}="{v}"' for k, v in HALO.items())
                + f">{html.escape(region.name)}</text>"
            )
    return made


def _section(found: _Found, levels: Sequence[float], ends: tuple[float, float], top: float) -> list[str]:
    low = min(float(piece.x[0]) for piece in found.section)
    high = max(float(piece.x[-1]) for piece in found.section)
    height = max(piece.bottom + piece.thickness for piece in found.section)
    scale = (WIDTH - 48 - 84) / (high - low)
    stretch = min(STRETCH, SECTION_TALL / (height * scale))
    x = Axis(low, high, (48, 48 + scale * (high - low)))
    floor = top + SECTION_TALL
    y = Axis(0.0, height, (floor, floor - height * scale * stretch))
    body = []
    for piece in found.section:
        xs = np.array([x(float(v)) for v in piece.x])
        ys = np.array([y(piece.bottom + float(d) * piece.thickness) for d in piece.depth])
        body += bands(xs, ys, piece.values, levels, ends=ends)[0]
        body.append(svg.rect(xs[0], ys[-1], xs[-1] - xs[0], ys[0] - ys[-1], "none", stroke_width="1.1"))
        if ys[0] - ys[-1] > 14:
            body.append(svg.label(xs[-1] + 6, (ys[0] + ys[-1]) / 2 + 4, piece.part, size=12))
    body += _sides(x, y, "x [mm]", "")
    body.append(svg.label(48, top - 8 + SECTION_TALL - height * scale * stretch,
                          f"section at y = {found.at:.1f} mm, heights ×{stretch:.2g}".replace("-", "−"), size=12,
                          class_="soft"))  # fmt: skip
    return body


def _sides(x: Axis, y: Axis, x_label: str, y_label: str) -> list[str]:
    made = []
    bottom = y.ends[0]
    for tick in x.ticks(7):
        made.append(svg.line(x(tick), bottom, x(tick), bottom + 5))
        made.append(svg.label(x(tick), bottom + 17, f"{tick:g}".replace("-", "−"), "middle", 11, class_="soft"))
    made.append(svg.label(x.ends[1] + 10, bottom + 17, x_label, size=11, class_="soft"))
    if y_label:
        for tick in y.ticks(5):
            made.append(svg.line(x.ends[0] - 5, y(tick), x.ends[0], y(tick)))
            made.append(svg.label(x.ends[0] - 9, y(tick) + 4, f"{tick:g}".replace("-", "−"), "end", 11, class_="soft"))
        made.append(svg.label(x.ends[0] - 9, y.ends[1] - 6, y_label, "end", 11, class_="soft"))
    return made
