"""The stack: choose a variant, move its inputs, and see what it brings against the baseline."""

from __future__ import annotations

import html
from functools import partial
from typing import Any

import ipywidgets as widgets

from ..cautions import as_html
from ..comparison import Comparison
from ..prediction import Prediction
from ..stack.paths import split
from ..stack.writing import to_toml
from ..units import convert, parse
from .bench import SAMPLES, Bench
from .code import python_of
from .column import column
from .parts import Frame, choice, columns, figures, foldable, heading, slider, to_copy

__all__ = ["StackPanel"]

LIMITS = (60.0, 115.0)
"""Of the slider for the junction's limit. [°C]"""


class StackPanel(Frame):
    """Variants of a part with sliders for the inputs that matter, and what they bring.

    Parameters
    ----------
    bench : Bench, or whatever a `Bench` is made of
    only : sequence of str, optional
        Paths of the sliders to show; all of them by default.
    """

    def __init__(self, bench: Any, only: tuple[str, ...] | list[str] | None = None) -> None:
        super().__init__()
        self.bench = bench if isinstance(bench, Bench) else Bench(bench)
        self._only = only
        self.sliders: dict[str, Any] = {}
        self.figures = widgets.HTML()
        self.picture = widgets.HTML()
        self.table = widgets.HTML()
        self.cautions = widgets.HTML()
        self.copy = widgets.HTML()
        self.status = widgets.HTML()
        self._knobs = widgets.VBox()
        variants = [(label, i) for i, label in enumerate(self.bench.labels)]
        self.variant = choice("variant", variants, self.bench.shown, lambda i: self._do(lambda: self.bench.show(i)))
        self.baseline = choice(
            "compared with",
            variants,
            self.bench.against,
            lambda i: self._do(lambda: self.bench.show(self.bench.shown, i)),
        )
        now = float(convert(self.bench.limit, "temperature"))
        self.limit = widgets.FloatSlider(
            value=now, min=min(LIMITS[0], now), max=max(LIMITS[1], now), step=1, description="limit [°C]",
            tooltip="junction limit [°C]", readout_format=".0f", layout={"width": "100%"},
        )  # fmt: skip
        self.limit.observe(self._limit_moved, "value")
        self.reset = widgets.Button(description="reset", tooltip="put every input back to what is described")
        self.reset.on_click(lambda _: self._do(self.bench.reset))
        controls = self._knobs
        answer = widgets.VBox([self.figures, self.picture, self.status, self.table, self.cautions, self.copy])
        self.frame(heading("What a mod brings"), columns(controls, answer))
        self.bench.failures.append(self.alert.show)
        with self.alert.guard():
            self._build()
            self._quick()
            self._slow()
            self.bench.listen(self._heard)

    # -- controls

    def _build(self) -> None:
        """Make the sliders of the variant shown, part by part; old ones, of which a browser may yet tell, are deaf."""
        for old in self.sliders.values():
            old.unobserve_all("value")
        self.sliders = {}
        groups: dict[str, list[Any]] = {}
        for control in self.bench.controls:
            if self._only is not None and control.path not in self._only:
                continue
            part = split(control.path)[0]
            made = slider(control, partial(self._move, control.path))
            if control.path in self.bench.values:
                made.value = control.shown(self.bench.values[control.path])
            self.sliders[control.path] = made
            groups.setdefault(part, [widgets.HTML(f"<h4>{html.escape(part)}</h4>")]).append(made)
        chosen = widgets.VBox([self.variant, self.baseline])
        end = widgets.VBox([widgets.HTML("<h4>headroom</h4>"), self.limit, self.reset])
        self._knobs.children = [chosen, *(widgets.VBox(group) for group in groups.values()), end]

    def _move(self, path: str, si: float) -> None:
        self._do(lambda: self.bench.move(path, si))

    def _limit_moved(self, change: Any) -> None:
        kelvin = parse((float(f"{change['new']:.4g}"), "degC"), "temperature").si
        self._do(lambda: self.bench.set_limit(kelvin))

    def _do(self, action: Any) -> None:
        with self.alert.guard():
            action()

    # -- answers

    def _heard(self, event: str) -> None:
        with self.alert.guard(keep=True):
            if event == "variant":
                self.variant.value = self.bench.shown
                self._build()
            if event in ("moved", "variant", "settled", "bands", "ready"):
                self._quick()
            if event in ("settled", "variant"):
                self._slow()

    def _quick(self) -> None:
        """Show the figures and the picture."""
        bench = self.bench
        shown = bench.answer()
        other = bench.answer(bench.against) if bench.against != bench.shown else None
        self.figures.value = figures(self._figures(shown, other))
        self.picture.value = column(shown, other)
        self.status.value = self._status(shown)

    def _figures(self, shown: Prediction, other: Prediction | None) -> list[tuple[str, str, str, str]]:
        bench, now = self.bench, float(shown.junction.magnitude)
        entries = [("junction", f"{now:.1f}", "°C", f"die mean {float(shown.mean.magnitude):.1f} °C")]
        if other is not None:
            was = float(other.junction.magnitude)
            drop = was - now
            what = "drops by" if drop >= 0 else "rises by"
            note, summary = f"from {was:.1f} °C", bench.interval
            if summary is not None:
                ends = sorted((1 if drop >= 0 else -1) * end for end in (summary.low.value, summary.high.value))
                note = f"95 %: {ends[0]:.1f} … {ends[1]:.1f}".replace("-", "−")
            entries.append((what, f"{abs(drop):.1f}", "K", note))
        base = None if other is None else bench.exact_headroom(bench.against)  # at rest: it would cost half the time
        note = "" if base is None else f"baseline {base:+.0f} W".replace("-", "−")
        what = f"headroom to {bench.limit_text.replace('degC', '°C')}"
        entries.append((what, f"{bench.headroom():+.0f}".replace("-", "−"), "W", note))
        entries.append(("junction to coolant", f"{1e3 * float(shown.resistance.magnitude):.1f}", "mK/W",
                        f"die {float(shown.specific_resistance.magnitude):.1f} mm²·K/W"))  # fmt: skip
        return entries

    def _status(self, shown: Prediction) -> str:
        """Return how good the answer is, and what is still to come."""
        error = float(shown.point.error[0].max())
        bench = self.bench
        if bench.settled:
            told = f"layered solver, its own error at most {error:.2g} K; inputs at their centres"
            if bench.interval is not None:
                told += f", 95 % interval of {SAMPLES} samples of their spreads"
        else:
            told = f"quick answer, within {max(error, 0.01):.2g} K; the layered solver's follows"
        ready = "" if bench.ready else " Quick answers are being prepared."
        return (
            f'<div class="tst-status" data-ready="{int(bench.ready)}" data-settled="{int(bench.settled)}">'
            f"Largest drop in {html.escape(shown.limiting)}. {told[0].upper()}{told[1:]}.{ready}</div>"
        )

    def _slow(self) -> None:
        """Show what is read at rest: tables, cautions, and what to copy."""
        bench = self.bench
        shown, other = bench.answer(), bench.answer(bench.against)
        self.table.value = foldable(
            "Breakdown as a table", f'<div class="tst-scroll">{shown.breakdown._repr_html_()}</div>'
        )
        limit = bench.limit_text
        pair = (other, shown) if other is not shown else (shown,)
        found = Comparison(pair, limit).cautions
        self.cautions.value = foldable(
            f"Cautions ({len(found)})",
            f'<div class="tst-cautions" tabindex="0" role="region" aria-label="cautions">{as_html(found)}</div>',
            shown=True,
        )
        stacks = [bench.stack(i) for i in dict.fromkeys((bench.against, bench.shown))]
        texts = to_copy("Python", python_of(stacks, limit))
        files = "".join(
            f"<p>{name}</p>{to_copy(f'TOML of {name}', to_toml(stack))}"
            for name, stack in zip(("baseline", "variant shown")[-len(stacks) :], stacks, strict=True)
        )
        self.copy.value = foldable("Python of what is on the screen", texts) + foldable(
            "TOML of what is on the screen", files
        )
