"""Compare variants of a stack: what each mod brings against the first."""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Any

from .cautions import Caution, as_html, as_text, cautions
from .errors import InputError
from .prediction import DEFAULT_SOLVER, Prediction, predict
from .stack.stack import Stack
from .tables import Cell, Column, Table
from .units import ValueLike, parse, show

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = ["Comparison", "compare"]


@dataclass(frozen=True, eq=False)
class Comparison:
    """Variants side by side; the first is the baseline. Made by `compare`.

    Attributes
    ----------
    predictions : tuple of Prediction
        One a variant.
    limit : value or None
        Junction temperature for the headroom.
    """

    predictions: tuple[Prediction, ...]
    limit: ValueLike | None

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
        notes = [f"{same}: {power}, coolant {coolant}; centres of all inputs, no uncertainty"]
        for p in self.predictions:
            notes += [f"{p.stack.label}: {note}" for note in p.notes]
        return tuple(notes)

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
        return {"rows": self.table.to_dict(), "cautions": [c.text for c in self.cautions], "notes": list(self.notes)}

    def to_pandas(self) -> Any:
        """Return the rows as a pandas DataFrame."""
        return self.table.to_pandas()

    def __str__(self) -> str:
        return f"{self.table}\n\n{as_text(self.cautions)}"

    def _repr_html_(self) -> str:
        return self.table._repr_html_() + as_html(self.cautions)

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


def compare(*variants: Stack, limit: ValueLike | None = None, solver: str = DEFAULT_SOLVER) -> Comparison:
    """Compare variants of a stack at the power and coolant temperature that each describes.

    Parameters
    ----------
    *variants : Stack
        Two or more, the baseline first.
    limit : temperature, optional
        Junction temperature to which the headroom in watts is stated, such as ``"95 degC"``.
    solver : {"one-dimensional", "axisymmetric", "layered"}

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
    return Comparison(tuple(predict(variant, solver) for variant in variants), limit)
