"""The sweep: one or two inputs over a range, where one is now, and where a goal is met."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import ipywidgets as widgets
import numpy as np

from ..goal import ValueFor, value_for
from ..live import Control
from ..stack.stack import Stack
from ..sweeping import Sweep, sweep
from ..units import DIMENSIONS, convert, parse
from .bench import Bench
from .curves import curve, plane
from .latest import Latest, Stop
from .parts import Frame, choice, columns, foldable, heading

__all__ = ["SweepPanel"]

POINTS, POINTS_2, POINTS_BAND = 33, 15, 13
SAMPLES = 400
"""For the band about the curve."""
NONE = "none"
GOALS = {"no goal": "", "junction at most": "80 degC", "drop at least": "3 K", "headroom at least": "50 W"}


@dataclass(frozen=True)
class _Found:
    """What the slow part brings."""

    sweep: Sweep
    goal: ValueFor | None


class SweepPanel(Frame):
    """One or two inputs of the variant shown, swept.

    Parameters
    ----------
    bench : Bench, or whatever a `Bench` is made of
    path : str, optional
        The input to begin with; the first joint's bond line by default.
    goal : pair of str, optional
        Such as ``("drop at least", "3 K")``.
    """

    def __init__(self, bench: Any, path: str | None = None, goal: tuple[str, str] | None = None) -> None:
        super().__init__()
        self.bench = bench if isinstance(bench, Bench) else Bench(bench)
        self._work = Latest("later", pause=0.3)
        self._bands = Latest("background", pause=0.5)
        self._found: _Found | None = None
        self._band: Sweep | None = None
        self._filling = False
        self.picture, self.text, self.table = widgets.HTML(), widgets.HTML(), widgets.HTML()
        paths = [control.path for control in self.bench.controls]
        start = path or next((p for p in paths if p.endswith(".bond_line")), paths[0])
        self.path = choice("input", [(p, p) for p in paths], start, lambda _: self._other_input())
        self.path_2 = choice("second input", [("none", NONE), *((p, p) for p in paths)], NONE, lambda _: self._again())
        self.start, self.stop = self._text("from"), self._text("to")
        kind, value = goal or ("no goal", "")
        self.goal = choice("goal", [(g, g) for g in GOALS], kind, self._other_goal)
        self.goal_value = self._text("goal value")
        self.goal_value.value = value
        controls = widgets.VBox([self.path, self.start, self.stop, self.path_2, self.goal, self.goal_value])
        answer = widgets.VBox([self.picture, self.text, self.table])
        self.frame(heading("What happens over a range"), columns(controls, answer))
        self.bench.failures.append(self.alert.show)
        with self.alert.guard():
            self._set_range()
            self._draw()
            self._ask()
            self.bench.listen(self._heard)
        for field in (self.start, self.stop, self.goal_value):
            field.observe(lambda _: self._again(), "value")

    def _text(self, text: str) -> Any:
        return widgets.Text(description=text, tooltip=text, continuous_update=False,
                            layout={"width": "100%"})  # fmt: skip

    # -- controls

    @property
    def control(self) -> Control:
        """The input that is swept."""
        return self._control(self.path.value)

    def _control(self, path: str) -> Control:
        return next(c for c in self.bench.controls if c.path == path)

    def _set_range(self) -> None:
        control = self.control
        for field, si in ((self.start, control.low), (self.stop, control.high)):
            field.value = f"{control.shown(si):.4g} {DIMENSIONS[control.dimension].shown_in}".strip()

    def _other_input(self) -> None:
        if self._filling:
            return
        self._found = None
        with self.alert.guard():
            self._set_range()
        self._again()

    def _other_goal(self, kind: str) -> None:
        self.goal_value.value = GOALS[kind]
        self._again()

    def _again(self) -> None:
        if self._filling:
            return
        with self.alert.guard():
            self._draw()
            self._ask()

    def _heard(self, event: str) -> None:
        with self.alert.guard(keep=True):
            if event == "variant":
                self._choose_paths()
            if event in ("moved", "variant", "settled", "ready"):
                self._draw()
            if event in ("moved", "variant"):
                self._ask()

    def _choose_paths(self) -> None:
        """Offer the inputs of the variant that is shown now."""
        paths = [control.path for control in self.bench.controls]
        if list(self.path.options) == [(p, p) for p in paths]:
            return
        start = (
            self.path.value
            if self.path.value in paths
            else next((p for p in paths if p.endswith(".bond_line")), paths[0])
        )
        self._found = None
        self._filling = True
        try:
            self.path.options = [(p, p) for p in paths]
            self.path.value = start
            self.path_2.options = [("none", NONE), *((p, p) for p in paths)]
            self.path_2.value = NONE
            self._set_range()
        finally:
            self._filling = False

    # -- the slow part

    def _ask(self) -> None:
        bench, control = self.bench, self.control
        stack, baseline = bench.stack(), bench.stack(bench.against)
        ends = (self._end(self.start.value, control), self._end(self.stop.value, control))
        second = None if self.path_2.value in (NONE, control.path) else self._control(self.path_2.value)
        kind, wanted, limit = self.goal.value, self.goal_value.value.strip(), bench.limit_text

        def work(stop: Stop) -> _Found:
            scale = control.scale
            if second is None:
                found = sweep(stack, control.path, *ends, points=POINTS, scale=scale)
                goal = None
                if kind != "no goal" and wanted and not stop():
                    goal = _goal(stack, baseline, control.path, ends, kind, wanted, limit)
                return _Found(found, goal)
            ends_2 = tuple(self._end(f"{second.shown(si):.6g}", second) for si in (second.low, second.high))
            return _Found(
                sweep(stack, control.path, *ends, second.path, *ends_2, points=POINTS_2, scale=[scale, second.scale]),
                None,
            )

        def draw_samples(stop: Stop) -> Sweep:
            scale, at = control.scale, control.path
            return sweep(stack, at, *ends, points=POINTS_BAND, scale=scale, samples=SAMPLES, progress=False)

        def banded(found: Sweep) -> None:
            self._band = found
            self._draw()

        def arrived(found: _Found) -> None:
            self._found = found
            self.alert.clear()
            self._draw()
            if second is None and bench.sampled:
                self._bands.ask(draw_samples, banded, self.alert.show)

        self._band = None
        self._bands.cancel()
        self._work.ask(work, arrived, self.alert.show)

    def _end(self, text: str, control: Control) -> str:
        """Return an end of the range; a number alone has the unit that is shown."""
        unit = DIMENSIONS[control.dimension].shown_in
        try:
            return f"{float(text):.6g} {unit}".strip()
        except ValueError:
            return text

    # -- the picture

    def _draw(self) -> None:
        bench, control, found = self.bench, self.control, self._found
        shown = bench.answer()
        here = control.shown(bench.values.get(control.path, control.described))
        celsius = float(shown.junction.magnitude)
        unit = f" [{control.unit}]" if control.unit else ""
        if found is not None and len(found.sweep.axes) == 2:
            self._draw_plane(found, here)
            return
        level = self._level()
        common: dict[str, Any] = {
            "x_label": f"{control.path}{unit}", "y_label": "junction [°C]",
            "logarithmic": control.scale == "logarithmic", "now": (here, celsius), "level": level,
        }  # fmt: skip
        name = (
            f"Junction over {control.path}: {celsius:.1f} °C at {here:.3g} {control.unit}, {bench.labels[bench.shown]}"
        )
        quick = bench.quick(bench.shown)
        if found is None or (self._work.busy and quick.ready):
            if not quick.ready:
                self.picture.value = '<div class="tst-status">working out the curve …</div>'
                return
            ends = [parse(self._end(t.value, control), control.dimension).si for t in (self.start, self.stop)]
            space = np.geomspace if control.scale == "logarithmic" else np.linspace
            at = np.asarray(space(ends[0], ends[1], POINTS), dtype=float)
            values = np.asarray(convert(quick.over(control.path, at, bench.values), "temperature"))
            self.picture.value = curve(np.asarray(convert(at, control.dimension)), values, name=name, **common)
            return
        band = None
        if self._band is not None:
            low, _, high = self._band.band()
            band = self._band.axes[0].shown, low, high
        met = [control.shown(si) for si in found.goal.crossings] if found.goal else []
        self.picture.value = curve(
            found.sweep.axes[0].shown,
            found.sweep.junction,
            name=name,
            met=met,
            band=band,
            faint=self._work.busy,
            **common,
        )
        said = found.goal.text if found.goal else f"Now {celsius:.1f} °C at {here:.3g} {control.unit}."
        if band is not None:
            said += f" The band holds 95 % of {SAMPLES} samples of the other inputs' spreads."
        self.text.value = f"<p>{said}</p>"
        self.table.value = foldable(
            "Sweep as a table", f'<div class="tst-scroll">{found.sweep.table._repr_html_()}</div>'
        )

    def _level(self) -> tuple[float, str] | None:
        """Return the junction temperature at which the goal is met, where it is one."""
        kind, text = self.goal.value, self.goal_value.value.strip()
        if not text or kind not in ("junction at most", "drop at least"):
            return None
        if kind == "junction at most":
            return float(
                convert(parse(text, "temperature", "goal").si, "temperature")
            ), f"goal {text.replace('degC', '°C')}"
        drop = parse(text, "temperature difference", "goal").si
        return float(self.bench.answer(self.bench.against).junction.magnitude) - drop, f"goal: drops by {text}"

    def _draw_plane(self, found: _Found, here: float) -> None:
        first, second = found.sweep.axes
        control = self._control(second.path)
        here_2 = control.shown(self.bench.values.get(control.path, control.described))
        celsius = float(self.bench.answer().junction.magnitude)
        level = self._level()
        self.picture.value = plane(
            first.shown, second.shown, found.sweep.junction,
            x_label=f"{first.path} [{first.unit}]", y_label=f"{second.path} [{second.unit}]",
            name=f"Junction over {first.path} and {second.path}: {celsius:.1f} °C now",
            logarithmic=(first.scale == "logarithmic", second.scale == "logarithmic"), now=(here, here_2),
            level=None if level is None else level[0],
        )  # fmt: skip
        self.text.value = (
            f"<p>Now {celsius:.1f} °C (dot). The white line is where the goal is met.</p>"
            if level
            else (f"<p>Now {celsius:.1f} °C (dot).</p>")
        )
        self.table.value = foldable(
            "Sweep as a table", f'<div class="tst-scroll">{found.sweep.table._repr_html_()}</div>'
        )


def _goal(
    stack: Stack, baseline: Stack, path: str, ends: tuple[str, str], kind: str, wanted: str, limit: str
) -> ValueFor:
    if kind == "junction at most":
        return value_for(stack, path, between=ends, junction=wanted)
    if kind == "drop at least":
        return value_for(stack, path, between=ends, drop=wanted, baseline=baseline)
    return value_for(stack, path, between=ends, headroom=wanted, limit=limit)
