"""Pieces that panels share: sliders for inputs, the frame with its style and names, alerts, foldable text to copy."""

from __future__ import annotations

import html
import math
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from typing import Any

import ipywidgets as widgets

from ..errors import ThermostackError
from ..live import Control
from ..stack.paths import split
from .naming import naming
from .style import sheet

__all__ = ["Alert", "Frame", "choice", "columns", "dimmed", "figures", "foldable", "heading", "slider", "to_copy"]

DECADE = 0.01
"""Step of a logarithmic slider, in decades: 2.3 %."""
FIELDS = {
    "bond_line": "bond line",
    "void_fraction": "void fraction",
    "conductance": "conductance",
    "conductivity": "conductivity",
    "resistance": "resistance",
    "temperature": "temperature",
    "thickness": "thickness",
    "power": "power",
}


class Alert:
    """A place in which an error is shown, and read out, until the next thing goes well."""

    def __init__(self) -> None:
        self.view = widgets.HTML("")

    def show(self, error: Exception) -> None:
        """Show an error; what the library raises tells where and what a right value is."""
        text = str(error) if isinstance(error, ThermostackError) else f"{type(error).__name__}: {error}"
        self.view.value = f'<div role="alert" class="tst-alert">{html.escape(text)}</div>'

    def clear(self) -> None:
        """Take the message away."""
        if self.view.value:
            self.view.value = ""

    @contextmanager
    def guard(self, *, keep: bool = False) -> Iterator[None]:
        """Show what goes wrong inside: a callback that raises would be silent in a browser.

        An older message goes away first, unless it is to be kept: what happens by itself does not put right what the
        person has asked for.
        """
        if not keep:
            self.clear()
        try:
            yield
        except Exception as error:
            self.show(error)


class Frame:
    """What every panel is: a box in the one style, with names for its controls, that a notebook shows.

    Attributes
    ----------
    view : ipywidgets.VBox
    alert : Alert
    """

    def __init__(self) -> None:
        self.alert = Alert()
        self.view: Any = None

    def frame(self, *children: Any) -> None:
        """Put the panel together."""
        self.view = widgets.VBox([widgets.HTML(sheet()), naming(), self.alert.view, *children])
        self.view.add_class("tst")

    def _repr_mimebundle_(self, **kwargs: Any) -> Any:
        return self.view._repr_mimebundle_(**kwargs)


def columns(controls: Any, answer: Any) -> Any:
    """Return controls with what they lead to beside them, or below where the page is narrow."""
    made = widgets.HBox([controls, answer])
    for box, name in ((made, "columns"), (controls, "controls"), (answer, "answer")):
        box.add_class(f"tst-{name}")
    return made


def heading(text: str, below: str = "") -> Any:
    """Return a heading with a line below it."""
    more = f'<p class="tst-soft">{html.escape(below)}</p>' if below else ""
    return widgets.HTML(f"<h3>{html.escape(text)}</h3>{more}")


def slider(control: Control, moved: Callable[[float], None]) -> Any:
    """Return a slider for an input; `moved` is called with the value in SI."""
    part, field = split(control.path)
    unit = f" [{control.unit}]" if control.unit else ""
    text = f"{FIELDS.get(field, field.replace('_', ' '))}{unit}"
    common: dict[str, Any] = {
        "description": text,
        "tooltip": f"{part}, {text}",
        "continuous_update": True,
        "layout": {"width": "100%"},
    }
    low, high, now = (float(f"{control.shown(x):.6g}") for x in (control.low, control.high, control.described))
    # the grid of a slider goes through what is described: a browser puts its handle on the grid, and tells so
    if control.scale == "logarithmic":
        here = math.log10(now)
        ends = {"min": here - DECADE * math.floor((here - math.log10(low)) / DECADE),
                "max": here + DECADE * math.floor((math.log10(high) - here) / DECADE)}  # fmt: skip
        made = widgets.FloatLogSlider(value=now, base=10, step=DECADE, readout_format=".3g", **ends, **common)
    else:
        step = _step(low, high)
        ends = {"min": round(now - step * math.floor((now - low) / step + 1e-9), 6),
                "max": round(now + step * math.floor((high - now) / step + 1e-9), 6)}  # fmt: skip
        made = widgets.FloatSlider(value=now, step=step, readout_format=_digits(step), **ends, **common)
    made.observe(lambda change: moved(control.read(change["new"])), "value")
    return made


def _step(low: float, high: float) -> float:
    """Return a round step of about a hundredth of the way."""
    raw = (high - low) / 100
    size = 10.0 ** math.floor(math.log10(raw))
    return float(next(size * m for m in (1, 2, 5, 10) if size * m >= raw * 0.8))


def _digits(step: float) -> str:
    """Return the format of numbers that a step tells apart."""
    return f".{max(0, -math.floor(math.log10(step) + 1e-9))}f"


def choice(text: str, options: Sequence[tuple[str, Any]], value: Any, chosen: Callable[[Any], None]) -> Any:
    """Return a list to choose from."""
    made = widgets.Dropdown(
        options=list(options), value=value, description=text, tooltip=text,
        layout={"width": "100%"},
    )  # fmt: skip
    made.observe(lambda change: chosen(change["new"]), "value")
    return made


def figures(entries: Sequence[tuple[str, str, str, str]]) -> str:
    """Return a strip of large figures: what, number, unit, and a note below."""
    cells = "".join(
        f'<div><div class="tst-what">{html.escape(what)}</div><div class="tst-value">{html.escape(value)} '
        f'<small>{html.escape(unit)}</small></div><div class="tst-note">{html.escape(note)}</div></div>'
        for what, value, unit, note in entries
    )
    return f'<div class="tst-figures">{cells}</div>'


def foldable(title: str, content: str, *, shown: bool = False) -> str:
    """Return something that can be folded away."""
    opened = " open" if shown else ""
    return f"<details{opened}><summary>{html.escape(title)}</summary>{content}</details>"


def dimmed(widget: Any, stale: bool) -> None:
    """Let what a widget shows look old, or not."""
    (widget.add_class if stale else widget.remove_class)("tst-stale")


def to_copy(name: str, text: str) -> str:
    """Return a text that can be selected, with a button that copies it."""
    rows = min(text.count("\n") + 2, 24)
    return (
        f'<div><textarea class="tst-code" readonly spellcheck="false" rows="{rows}" aria-label="{html.escape(name)}">'
        f'{html.escape(text)}</textarea><button type="button" class="tst-copy">copy</button></div>'
    )
