"""The verdict: is the measured drop credible, what could explain it, what to measure next, and the page to publish."""

from __future__ import annotations

import html
from collections.abc import Iterable
from dataclasses import dataclass, replace
from functools import partial
from typing import Any, TypeAlias

import ipywidgets as widgets

from ..checking import Check, check
from ..errors import InputError
from ..measured.reading import Reading, common_inputs
from ..report import Page, page
from ..stack.stack import Stack
from ..states import USUAL, State
from ..tables import format_number
from ..units import ValueLike
from . import told
from .bench import Bench
from .export import Export
from .latest import Latest, Stop
from .logs_panel import LogsPanel
from .parts import Frame, choice, columns, dimmed, figures, foldable, heading

__all__ = ["VerdictPanel"]

Given: TypeAlias = "LogsPanel | Iterable[Reading | Iterable[Reading]]"
KNOWN = (
    ("offset [K]", USUAL["offset"].spread, 5.0, 0.1),
    ("slope [%]", 100 * USUAL["slope"].spread, 10.0, 0.5),
    ("power meter [%]", 100 * USUAL["gain"].spread, 10.0, 0.5),
)
"""How well what all readings of a part share is known: text, standard uncertainty, largest, step."""
BRIEF = ("name", "when", "information", "takes")
"""Columns of what to measure next that are seen at once."""
STEPS = (
    "1 of 3: what was to be expected of all readings …",
    "2 of 3: what each cause would have shown …",
    "3 of 3: what the next measurement would tell …",
)
PART = "Stopped. What is shown is not all of it: check again."


@dataclass(frozen=True)
class _Asked:
    """What a check was asked of."""

    stacks: tuple[Stack, ...]
    readings: tuple[tuple[Reading, ...], ...]
    known: tuple[float, ...]


class VerdictPanel(Frame):
    """Two or more states, each a variant with its readings, and what a check says of them.

    Parameters
    ----------
    bench : Bench, or whatever a `Bench` is made of
        Variants to choose from; inputs that were moved on it count.
    readings : LogsPanel, or a reading (or several) a state
        In order, the baseline first. To those of a `LogsPanel` is added what is known of sensors and power meter.
    title : str
        Of the page, to begin with.
    **choices
        Of `check`, such as ``resolve="2 K"`` or ``pairs=True``.

    Attributes
    ----------
    check : Check or None
        The latest, until it is asked for anew.
    """

    def __init__(self, bench: Any, readings: Given, *, title: str = "Check of a mod", **choices: Any) -> None:
        super().__init__()
        self.bench = bench if isinstance(bench, Bench) else Bench(bench)
        self.logs = readings if isinstance(readings, LogsPanel) else None
        self._typed = () if isinstance(readings, LogsPanel) else tuple(map(_several, readings))
        self._choices = choices
        self._work = Latest("asked", pause=0.0)
        self._asked: _Asked | None = None
        self._whole = False
        self.check: Check | None = None
        names = self._names()
        variants = [(label, i) for i, label in enumerate(self.bench.labels)]
        self.variants = [
            choice(f"variant {name}", variants, min(i, len(variants) - 1), lambda _: self._changed())
            for i, name in enumerate(names)
        ]
        self.known = [self._slider(*each) for each in KNOWN] if self.logs is not None else []
        self.button = widgets.Button(description="check", tooltip="check the readings", button_style="primary")
        self.button.on_click(lambda _: self._check())
        self.stop = widgets.Button(description="stop", tooltip="stop the check", disabled=True)
        self.stop.on_click(lambda _: self._stop())
        self.export = Export("page of the verdict", title, "verdict.html", self._page, self.alert)
        self.status, self.figures, self.said, self.picture = (widgets.HTML() for _ in range(4))
        self.drops, self.causes, self.next = (widgets.HTML() for _ in range(3))
        groups = [widgets.VBox([widgets.HTML("<h4>states</h4>"), *self.variants])]
        if self.known:
            title, below = "how well sensors and meter are known", "one standard uncertainty, the same in all logs"
            text = f'<h4>{title}</h4><p class="tst-soft">{below}</p>'
            groups.append(widgets.VBox([widgets.HTML(text), *self.known]))
        buttons = widgets.HBox([self.button, self.stop])
        buttons.add_class("tst-row")
        groups += [buttons, widgets.VBox([widgets.HTML("<h4>to publish</h4>"), self.export.view])]
        answer = widgets.VBox([self.status, self.figures, self.said, self.picture, self.export.link])
        self.frame(
            heading("From readings to a verdict"), columns(widgets.VBox(groups), answer), self.drops, self.causes,
            self.next,
        )  # fmt: skip
        self.bench.listen(self._heard, answers=False)
        if self.logs is not None:
            self.logs.listen(self._changed)
        self._changed()

    def _names(self) -> tuple[str, ...]:
        count = 2 if self.logs is not None else len(self._typed)
        if count < 2:
            raise InputError(
                f"readings of {count} states", where="VerdictPanel",
                expected="a LogsPanel, or a reading for each of two states at least, the baseline first",
            )  # fmt: skip
        return ("before", "after") if count == 2 else ("before", *(f"after, {i}" for i in range(1, count)))

    def _slider(self, text: str, now: float, most: float, step: float) -> Any:
        made = widgets.FloatSlider(
            value=now, min=0.0, max=most, step=step, description=text, readout_format=".1f",
            tooltip=f"{text}, standard uncertainty common to all readings", layout={"width": "100%"},
        )  # fmt: skip
        made.observe(lambda _: self._changed(), "value")
        return made

    # -- what is asked

    def _ask(self) -> _Asked:
        readings = self._typed if self.logs is None else tuple((reading,) for reading in self.logs.readings)
        stacks = tuple(self.bench.stack(chosen.value) for chosen in self.variants)
        return _Asked(stacks, readings, tuple(slider.value for slider in self.known))

    def _states(self, asked: _Asked) -> tuple[State, ...]:
        return tuple(
            State(stack, *(_knowing(reading, asked.known) if asked.known else reading for reading in readings))
            for stack, readings in zip(asked.stacks, asked.readings, strict=True)
        )

    def _heard(self, event: str) -> None:
        if event in ("moved", "variant"):
            self._changed()

    def _changed(self) -> None:
        """Say what there is to check, and whether what is shown is of something else."""
        if self._work.busy:
            return
        try:
            asked = self._ask()
        except InputError as missing:
            self._say(f"Nothing to check yet: {missing}")
            self.button.disabled = True
            self._dim(self._asked is not None)
            return
        self.button.disabled = False
        stale = self._asked is not None and asked != self._asked
        self._dim(stale)
        if self._asked is None:
            self._say("Takes some ten seconds; the verdict comes first, then causes, then what to measure next.")
        elif stale:
            self._say("What is shown is of other stacks or readings: check again.")
        elif self._whole:
            self.export.offer(True)
            self._say(self._told())
        else:
            self._say(PART)

    def _told(self) -> str:
        assert self._asked is not None
        sources = " against ".join(", ".join(r.source for r in group) for group in self._asked.readings)
        moved = len(self.bench.values)
        return f"Checked: {sources}" + (f"; {moved} inputs moved on the bench" if moved else "") + "."

    def _say(self, text: str) -> None:
        self.status.value = f'<div class="tst-status" role="status">{html.escape(text)}</div>'

    def _dim(self, stale: bool) -> None:
        for shown in (self.figures, self.said, self.picture, self.drops, self.causes, self.next):
            dimmed(shown, stale)
        if stale:
            self.export.offer(False)

    # -- the check, a step after the other

    def _check(self) -> None:
        with self.alert.guard():
            asked = self._ask()
            states = self._states(asked)
            self._asked, self.check, self._whole = asked, None, False
            for shown in (self.figures, self.said, self.picture, self.drops, self.causes, self.next):
                shown.value = ""
            self._dim(False)
            self.export.offer(False)
            self._step(0, lambda: self._checked(states), self._verdict)

    def _step(self, number: int, work: Any, arrived: Any) -> None:
        self._say(STEPS[number])
        self.button.disabled, self.stop.disabled = True, False

        def run(stop: Stop) -> Any:
            return work()

        self._work.ask(run, arrived, self._failed)

    def _checked(self, states: tuple[State, ...]) -> Check:
        found = check(*states, **self._choices)
        assert found.drops is not None  # worked out here, and shown later
        return found

    def _verdict(self, found: Check) -> None:
        self.check = found
        drop = found.verdict.drop
        entries = [
            ("measured drop", told.shown(drop.measured), "K", f"± {told.shown(told.COVER * drop.u_D)} K (95 %)"),
            ("expected", told.shown(drop.expected), "K", f"95 %: {told.shown(drop.low)} … {told.shown(drop.high)}"),
            ("p", format_number(drop.p, 2), "", "below 0.05: a surprise"),
            ("error E", told.shown(drop.error), "K", f"Eₙ {told.shown(drop.en, 2)}"),
        ]
        self.figures.value = figures(entries)
        self.said.value = _sentences(found.verdict.sentences)
        self.picture.value = told.drop(found)
        table = f'<div class="tst-scroll">{found.drops._repr_html_()}</div>'
        self.drops.value = foldable("Drops, sensor by sensor", table)
        self._step(1, lambda: found.causes, partial(self._explained, found))

    def _explained(self, found: Check, _: Any) -> None:
        self.said.value = _sentences(found.sentences)
        table = f'<div class="tst-scroll">{found.causes.table._repr_html_()}</div>'
        sizes = f'<div class="tst-scroll">{found.causes.sizes._repr_html_()}</div>'
        self.causes.value = (
            f"<h4>What could explain the readings</h4><p>{html.escape(found.causes.conclusion)} Causes under one "
            f"letter cannot be split by what was recorded.</p>{told.causes(found)}"
            f"{foldable('Causes as a table', table)}{foldable('Causes and their sizes', sizes)}"
        )
        self._step(2, lambda: found.next_measurements, self._done)

    def _done(self, _: Any) -> None:
        assert self.check is not None
        whole = self.check.next_measurements.table
        kept = [i for i, column in enumerate(whole.columns) if column.key in BRIEF]
        short = replace(
            whole, columns=tuple(whole.columns[i] for i in kept),
            rows=tuple(tuple(row[i] for i in kept) for row in whole.rows), title="",
        )  # fmt: skip
        table = f'<div class="tst-scroll">{whole._repr_html_()}</div>'
        self.next.value = (
            f'<h4>What to measure next</h4><div class="tst-scroll">{short._repr_html_()}</div>'
            f"{foldable('With what each outcome would mean', table)}"
        )
        self.stop.disabled, self._whole = True, True
        self._changed()

    def _failed(self, error: Exception) -> None:
        self._stop()
        self.alert.show(error)
        self._say("Not checked to the end." if self.check else "Not checked.")

    def _stop(self) -> None:
        """Drop what is being worked out; what has come stays."""
        self._work.cancel()
        self.stop.disabled, self.button.disabled = True, False
        self._say(PART if self.check else "Stopped.")
        self._asked = None if self.check is None else self._asked

    # -- the page

    def _page(self, title: str) -> Page:
        if self.check is None:
            raise InputError("no verdict yet", where="page", expected="press check first")
        logs = []
        if self.logs is not None and self._asked is not None:
            for panel, (reading,) in zip((self.logs.before, self.logs.after), self._asked.readings, strict=True):
                if panel.log is not None and panel.reading is reading:
                    logs.append((panel.log, reading))
        return page(self.check, *logs, title=title)


def _several(given: Reading | Iterable[Reading]) -> tuple[Reading, ...]:
    return (given,) if isinstance(given, Reading) else tuple(given)


def _knowing(reading: Reading, known: tuple[float, ...]) -> Reading:
    """Return a reading with what is known of its sensors and the power meter: exactly, where the slider is at zero."""
    offset, slope, gain = (f" (sd {value:.6g}{unit})" if value else "" for value, unit in
                           zip((known[0], known[1] / 100, known[2] / 100), (" K", "", ""), strict=True))  # fmt: skip
    common: dict[str, ValueLike] = {"power.gain": f"0{gain}"}
    for sensor in reading.sensors:
        common[f"{sensor}.offset"] = f"0 K{offset}"
        common |= {f"{sensor}.slope": f"0{slope}", f"{sensor}.pivot": USUAL["pivot"]}
    return replace(reading, common=common_inputs(common, reading.sensors))


def _sentences(texts: Iterable[str]) -> str:
    first, *rest = texts
    return f"<p><strong>{html.escape(first)}</strong></p>" + "".join(f"<p>{html.escape(text)}</p>" for text in rest)
