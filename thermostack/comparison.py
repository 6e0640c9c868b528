"""Compare variants of a stack: what each mod brings against the first."""

from __future__ import annotations

import re
from collections.abc import Sequence
from concurrent.futures import Executor
from dataclasses import dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING, Any

import numpy as np

from .cautions import Caution, as_html, as_text, cautions
from .clock import clock_at
from .ensemble import Ensemble, ensemble_of
from .ensemble.tables import budget_rows, decision_table, drops_table
from .errors import InputError, UnknownNameError, suggest
from .prediction import DEFAULT_SOLVER, Prediction, predict
from .propagate import Budget, Summary, summarise
from .stack.stack import Stack
from .tables import Cell, Column, Table
from .units import ValueLike, parse, show

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = ["Comparison", "compare"]

BEYOND = 0.95
"""Share of the samples that must lie within the clocks that were given."""


@dataclass(frozen=True, eq=False)
class Comparison:
    """Variants side by side; the first is the baseline. Made by `compare`.

    Attributes
    ----------
    predictions : tuple of Prediction
        One a variant.
    limit : value or None
        Junction temperature for the headroom.
    ensemble : Ensemble or None
        All variants sampled together, where samples were asked for.
    minimum : value or None
        Drop below which a mod is not worth while.
    clock : tuple of (value, value)
        Clock and power, as measured: what a gain in power is worth.
    """

    predictions: tuple[Prediction, ...]
    limit: ValueLike | None
    ensemble: Ensemble | None = None
    minimum: ValueLike | None = None
    clock: tuple[tuple[ValueLike, ValueLike], ...] = ()

    @property
    def baseline(self) -> Prediction:
        """The first variant."""
        return self.predictions[0]

    @cached_property
    def table(self) -> Table:
        """Return a row a variant: temperatures, drop against the baseline at equal power, resistances, headroom."""
        columns = [
            Column("variant", "variant"),
            Column("junction_degC", "junction [°C]", ".1f"),
            Column("mean_degC", "die mean [°C]", ".1f"),
            Column("drop_junction_K", "junction drops by [K]", ".1f"),
            Column("drop_mean_K", "die mean drops by [K]", ".1f"),
            Column("power_W", "power [W]", ".1f"),
            Column("resistance_K_per_W", "junction to coolant [K/W]", ".4f"),
            Column("specific_resistance_mm2_K_per_W", "on the die [mm²·K/W]", ".1f"),
            Column("limiting", "largest drop in"),
        ]
        if self._limit is not None:
            columns.insert(8, Column("headroom_W", f"headroom to {show(self._limit, 'temperature')} [W]", ".0f"))
        return Table(
            tuple(columns),
            tuple(self._row(p) for p in self.predictions),
            title=self.baseline.stack.name,
            notes=self.notes,
        )

    def _row(self, p: Prediction) -> tuple[Cell, ...]:
        first = self.baseline
        is_first = p is first
        cells: list[Cell] = [
            p.stack.label if not is_first else f"{p.stack.label} (baseline)",
            float(p.junction.magnitude),
            float(p.mean.magnitude),
            None if is_first else float(first.junction.magnitude - p.junction.magnitude),
            None if is_first else float(first.mean.magnitude - p.mean.magnitude),
            float(p.point.total[0]),
            float(p.resistance.magnitude),
            float(p.specific_resistance.magnitude),
            p.limiting,
        ]
        if self.limit is not None:
            cells.insert(8, float(p.headroom(self.limit).magnitude))
        return tuple(cells)

    @property
    def notes(self) -> tuple[str, ...]:
        """At what power and coolant, and what is assumed."""
        point = self.baseline.point
        power, coolant = show(float(point.total[0]), "power"), show(float(point.coolant[0]), "temperature")
        described = {(float(p.point.total[0]), float(p.point.coolant[0])) for p in self.predictions}
        same = "equal power" if len(described) == 1 else "each at its own power and coolant; baseline"
        sampled = "" if self.ensemble is not None else ", no uncertainty"
        notes = [f"{same}: {power}, coolant {coolant}; centres of all inputs{sampled}"]
        limiting = {p.point.limited_by for p in self.predictions}
        if self.limit is not None and limiting != {"junction"}:
            notes.append(f"headroom: until {' or '.join(sorted(limiting))} reads the limit")
        for p in self.predictions:
            notes += [f"{p.stack.label}: {note}" for note in p.notes]
        return tuple(notes)

    # -- how sure

    @property
    def sampled(self) -> Ensemble:
        """The samples of all variants, drawn together.

        Raises
        ------
        InputError
            None were asked for.
        """
        if self.ensemble is None:
            raise InputError(
                "no samples were asked for", where="compare", expected="compare(stack, mod, samples=10_000)"
            )
        return self.ensemble

    @cached_property
    def drops(self) -> Table:
        """Drop of each mod at equal power and at equal workload, with interval and chances; needs samples."""
        return drops_table(self.sampled, self._minimum)

    def drop(self, variant: int | str, quantity: str = "junction", at: str = "equal power") -> Summary:
        """Return what the samples say of one mod's drop [K]; needs samples.

        Parameters
        ----------
        variant : int or str
            Number (1 for the first mod) or label.
        quantity : str
            "junction", "die mean" or "sensor <name>".
        at : {"equal power", "equal workload", "as described"}
        """
        below = () if self._minimum is None else (self._minimum,)
        return self.sampled.drop(self._number(variant), quantity, at, below=below)

    def budget(self, variant: int | str, quantity: str = "junction", at: str = "equal power") -> Budget:
        """Return the linear uncertainty budget of one mod's drop: which input matters; needs samples."""
        return budget_rows(self.sampled.drop_budget(self._number(variant), quantity, at))

    @property
    def shared(self) -> Table:
        """What is drawn for the samples, and what the variants share; needs samples."""
        return self.sampled.shared

    @cached_property
    def decision(self) -> Table:
        """What speaks for and against each mod, a column a mod; needs samples."""
        return decision_table(
            self.sampled,
            minimum=self._minimum,
            limit_text=None if self._limit is None else show(self._limit, "temperature"),
            remainders=[_most_lost(p) for p in self.predictions],
            worries=[self._worries(p) for p in self.predictions],
            clock=self._clock_gained if self.clock else None,
        )

    def _number(self, variant: int | str) -> int:
        labels = self.sampled.labels
        if isinstance(variant, int):
            return variant
        if variant not in labels:
            raise UnknownNameError(f"no variant {variant!r}; {suggest(variant, labels)}", where="compare")
        return labels.index(variant)

    def _worries(self, p: Prediction) -> str:
        base = None if p is self.baseline else self.baseline.stack
        found = cautions(p.stack, p.temperatures, baseline=base, limit=self._limit)
        counts = [(kind, sum(caution.kind == kind for caution in found)) for kind in ("person", "part", "result")]
        told = ", ".join(f"{count} for the {kind}" for kind, count in counts if count)
        return f"cautions: {told}" if told else "none of the cautions known here applies"

    def _clock_gained(self, variant: int) -> Summary | None:
        """Return the clock gained at the limit; None where most samples lie beyond the clocks that were given."""
        ensemble = self.sampled
        at = [
            clock_at(self.clock, ensemble.samples("power", i) + ensemble.samples("headroom", i)) for i in (0, variant)
        ]
        gained = (at[1] - at[0]) / 1e6
        known = np.isfinite(gained)
        return summarise(gained[known]) if known.mean() > BEYOND else None

    @property
    def _minimum(self) -> float | None:
        return None if self.minimum is None else parse(self.minimum, "temperature difference", "minimum").si

    @cached_property
    def cautions(self) -> tuple[Caution, ...]:
        """What to be careful about, of all variants.

        A rule that speaks for several variants stands once, with the one that concerns most parts, unless it has other
        figures to tell of another.
        """
        first = self.baseline
        found: dict[tuple[str, ...], Caution] = {}
        for p in self.predictions:
            base = None if p is first else first.stack
            for caution in cautions(p.stack, p.temperatures, baseline=base, limit=self._limit):
                own = (caution.key, *_figures(caution))
                if own not in found or len(found[own].about) < len(caution.about):
                    found[own] = caution
        return tuple(sorted(found.values(), key=lambda caution: caution.weight))

    @property
    def _limit(self) -> float | None:
        return None if self.limit is None else parse(self.limit, "temperature", "limit").si

    def to_dict(self) -> dict[str, Any]:
        """Return the rows as plain numbers, with units in the names."""
        found: dict[str, Any] = {"rows": self.table.to_dict(), "cautions": [c.text for c in self.cautions]}
        if self.ensemble is not None:
            found["drops"], found["decision"] = self.drops.to_dict(), self.decision.to_dict()
        return {**found, "notes": list(self.notes)}

    def to_pandas(self) -> Any:
        """Return the rows as a pandas DataFrame."""
        return self.table.to_pandas()

    def __str__(self) -> str:
        return "\n\n".join([*map(str, self._tables), as_text(self.cautions)])

    @property
    def _tables(self) -> tuple[Table, ...]:
        return (self.table,) if self.ensemble is None else (self.table, self.drops, self.decision, self.shared)

    def _repr_html_(self) -> str:
        return "".join(table._repr_html_() for table in self._tables) + as_html(self.cautions)

    def plot(self, ax: Axes | None = None) -> Axes:
        """Draw the temperatures of the variants, by layer."""
        from .plots import comparison

        return comparison(self, ax=ax)


def _figures(caution: Caution) -> list[str]:
    """Return the numbers in a caution's text, those in the names of parts left out."""
    text = caution.text
    for name in caution.about:
        text = text.replace(name, "")
    return re.findall(r"\d+(?:\.\d+)?", text)


def _most_lost(p: Prediction) -> str:
    """Say in which part the junction would gain most if it were perfect, and what would be left."""
    table = p.remainders.to_dict()
    part, left, gain = max(
        zip(table["part"], table["left_K"], table["gain_K"], strict=True), key=lambda row: float(row[2] or 0)
    )
    return f"{part}: {left:.1f} K of {float(left or 0) + float(gain or 0):.1f} K would be left were it perfect"


def compare(
    *variants: Stack,
    limit: ValueLike | None = None,
    solver: str = DEFAULT_SOLVER,
    samples: int | None = None,
    seed: int = 0,
    minimum: ValueLike | None = None,
    clock: Sequence[tuple[ValueLike, ValueLike]] = (),
    coverage: float = 0.95,
    emulate: bool = True,
    executor: Executor | None = None,
    progress: bool | None = None,
) -> Comparison:
    """Compare variants of a stack at the power and coolant temperature that each describes.

    Parameters
    ----------
    *variants : Stack
        Two or more, the baseline first.
    limit : temperature, optional
        Junction temperature to which the headroom in watts is stated, such as ``"95 degC"``.
    solver : {"one-dimensional", "axisymmetric", "layered"}
    samples : int, optional
        How many samples of the uncertain inputs to carry through, such as 10_000. What the variants share is the same
        number in each; `Comparison.shared` lists it. Rounded up to a multiple of 50.
    seed : int
        The same seed gives the same figures.
    minimum : temperature difference, optional
        Drop that makes a mod worth while, such as ``"3 K"``: the chance of less is stated.
    clock : sequence of (clock, power), optional
        As measured, such as ``[("4.2 GHz", "150 W"), ("4.8 GHz", "230 W")]``: the gain at the limit in clock as well.
    coverage : float
        Of the intervals.
    emulate, executor, progress
        As in `predict`.

    Returns
    -------
    Comparison

    Raises
    ------
    InputError
        Fewer than two variants, or one that makes no sense.
    """
    if len(variants) < 2:
        raise InputError(f"{len(variants)} variant given", where="compare", expected="a baseline and at least one mod")
    for number, variant in enumerate(variants, start=1):
        if not isinstance(variant, Stack):
            raise InputError(f"{variant!r} is no stack", where=f"compare, variant {number}", expected="a Stack")
    predictions = tuple(predict(variant, solver, limit=limit) for variant in variants)
    points = tuple((given, watts) for given, watts in clock)
    found = Comparison(predictions, limit, None, minimum, points)
    _ = found._minimum
    if points:
        clock_at(points, np.zeros(1))  # finds what is wrong with them now
    if samples is None:
        return found
    if limit is not None:
        for p in predictions:
            p.headroom(limit)  # says if the limit lies below the coolant
    ensemble = ensemble_of(
        variants, solver, samples, seed=seed, limit=found._limit, coverage=coverage, emulate=emulate,
        executor=executor, progress=progress,
    )  # fmt: skip
    return replace(found, ensemble=ensemble)
