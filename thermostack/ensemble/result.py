"""What samples of one or several variants say: distributions of temperatures and drops, and what they come from."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from ..errors import InputError, UnknownNameError, suggest
from ..propagate import (
    Agreement,
    Budget,
    Linearisation,
    Run,
    Sampler,
    Summary,
    Variable,
    agreement,
    budget_of,
    linearise,
    summarise,
)
from ..tables import Column, Table
from .joint import JointModel, Output
from .unknowns import LearnedSampler, after_calibration

__all__ = ["At", "Ensemble"]

Float = NDArray[np.float64]
At = str
"""Under what a drop is taken: "equal power", "equal workload" or "as described"."""
PLACES = ("equal power", "equal workload", "as described")


@dataclass(frozen=True, eq=False)
class Ensemble:
    """Samples of variants, drawn together. Made by `ensemble_of`.

    Attributes
    ----------
    model : JointModel
    sampler : Sampler
    run : Run
        All outputs of all samples, by `model.outputs`.
    coverage : float
        Of the intervals.
    """

    model: JointModel
    sampler: Sampler
    run: Run
    coverage: float = 0.95
    _budgets: dict[tuple[Output, Output | None], Budget] = field(default_factory=dict, repr=False)

    @property
    def labels(self) -> tuple[str, ...]:
        """Of the variants, the baseline first."""
        return tuple(variant.stack.label for variant in self.model.variants)

    def _column(self, variant: int, quantity: str) -> int:
        try:
            return self.model.outputs.index((variant, quantity))
        except ValueError:
            known = [name for index, name in self.model.outputs if index == variant]
            raise UnknownNameError(
                f"{quantity!r} was not sampled; {suggest(quantity, known)}", where=self.labels[variant]
            ) from None

    def _output(self, variant: int, quantity: str, at: At) -> Output:
        if at not in PLACES:
            raise UnknownNameError(f"no drop at {at!r}; {suggest(str(at), PLACES)}", where="at")
        return variant, quantity if at == "as described" else f"{quantity} at {at}"

    # -- samples

    def samples(self, quantity: str = "junction", variant: int = 0) -> Float:
        """Return the samples of a quantity, shape (S,): a temperature [K], "resistance" [K/W], "power", "headroom" [W].

        NaN where a sample runs away.
        """
        return np.asarray(self.run.results[:, self._column(variant, quantity)])

    def drops(self, variant: int, quantity: str = "junction", at: At = "equal power") -> Float:
        """Return the samples of a temperature's drop against the baseline, shape (S,). [K]"""
        self._check_mod(variant)
        return self.samples(quantity) - self.samples(self._output(variant, quantity, at)[1], variant)

    def gains(self, variant: int) -> Float:
        """Return the samples of the power gained at the limit, mod less baseline, shape (S,). [W]"""
        self._check_mod(variant)
        at_limit = [self.samples("power", i) + self.samples("headroom", i) for i in (0, variant)]
        return np.asarray(at_limit[1] - at_limit[0])

    def _check_mod(self, variant: int) -> None:
        if not 0 < variant < len(self.labels):
            raise InputError(
                f"variant {variant} has no drop", where="variant", expected=f"1 to {len(self.labels) - 1}, a mod"
            )

    # -- what they say

    def summary(self, quantity: str = "junction", variant: int = 0, *, below: Sequence[float] = ()) -> Summary:
        """Return median, standard uncertainty, interval and chances of a quantity, each with its Monte Carlo error."""
        return self._summarised(self.samples(quantity, variant), below)

    def drop(
        self, variant: int, quantity: str = "junction", at: At = "equal power", *, below: Sequence[float] = ()
    ) -> Summary:
        """Return the same of a drop. [K]"""
        return self._summarised(self.drops(variant, quantity, at), below)

    def gain(self, variant: int) -> Summary:
        """Return the same of the power gained at the limit. [W]"""
        return self._summarised(self.gains(variant), ())

    def _summarised(self, samples: Float, below: Sequence[float]) -> Summary:
        run = replace(self.run, results=samples)
        kept = np.isfinite(samples)
        if kept.all():
            return summarise(run, coverage=self.coverage, below=below)
        if kept.sum() < 2:
            raise InputError("hardly a sample has an operating point", where=", ".join(self.labels))
        note = f"{np.sum(~kept)} of {len(kept)} samples run away, and are left out"
        found = summarise(samples[kept], coverage=self.coverage, below=below)
        return replace(found, notes=(*self.run.notes, note))

    # -- what they come from

    @cached_property
    def variables(self) -> tuple[Variable, ...]:
        """The unknowns with what calibrations have left of their spreads; paths as in budgets."""
        stacks = [variant.stack for variant in self.model.variants]
        known = after_calibration(self.model.unknowns, stacks)
        return known + self.sampler.variables[len(known) :]

    @cached_property
    def _correlations(self) -> dict[tuple[str, str], float]:
        """Of the unknowns that readings tied together, on their natural scales."""
        if not isinstance(self.sampler, LearnedSampler):
            return {}
        return self.sampler.correlations_taught(self.variables)

    @cached_property
    def linear(self) -> Linearisation:
        """Every output at the centres of the unknowns, and what each unknown contributes to it."""
        return linearise(self.model, self.variables)

    def budget(self, quantity: str = "junction", variant: int = 0) -> Budget:
        """Return the linear budget of a quantity (JCGM 100), largest contribution first."""
        return self._budget((variant, quantity), None)

    def drop_budget(self, variant: int, quantity: str = "junction", at: At = "equal power") -> Budget:
        """Return the linear budget of a drop."""
        self._check_mod(variant)
        return self._budget(self._output(variant, quantity, at), (0, quantity))

    def _budget(self, output: Output, against: Output | None) -> Budget:
        if (output, against) not in self._budgets:
            column = self._column(*output)
            value, contributions = self.linear.value[column], self.linear.contributions[:, column]
            if against is not None:
                other = self._column(*against)
                value = self.linear.value[other] - value
                contributions = self.linear.contributions[:, other] - contributions
            unit = "W" if output[1] in ("power", "headroom") else "K/W" if output[1] == "resistance" else "K"
            if against is None and unit == "K":
                value, unit = value - 273.15, "°C"
            sensitivities = {
                v.path: float(c) / v.distribution.natural_sd for v, c in zip(self.variables, contributions, strict=True)
            }
            self._budgets[output, against] = budget_of(
                self.variables,
                float(value),
                sensitivities,
                correlations=self._correlations,
                coverage=self.coverage,
                unit=unit,
            )
        return self._budgets[output, against]

    def agreement(self, variant: int, quantity: str = "junction", at: At = "equal power") -> Agreement:
        """Say whether the linear budget of a drop holds up against Monte Carlo (JCGM 101:2008, 8.1)."""
        return agreement(self.drop_budget(variant, quantity, at), self.drop(variant, quantity, at))

    @cached_property
    def shared(self) -> Table:
        """Return a row an unknown: whose it is, and by what it is drawn."""
        rows = []
        for unknown in self.model.unknowns:
            names = [self.labels[variant] for variant in unknown.variants]
            whose = "all" if len(names) == len(self.labels) and len(names) > 1 else ", ".join(names)
            how = {"lasting": "once for the part", "mount": "for each mount", "run": "once for the comparison"}
            rows.append((unknown.variable.path, unknown.scope, whose, how[unknown.scope]))
        columns = (
            Column("path", "input"),
            Column("scope", "scope"),
            Column("variants", "in which variants", wrap=50),
            Column("drawn", "drawn"),
        )
        return Table(columns, tuple(rows), title="What is drawn, and what the variants share")

    @cached_property
    def numerical_error(self) -> float:
        """Held-out error of the emulators, in the worst variant and place. [K]"""
        worst = 0.0
        for variant in self.model.variants:
            if variant.emulator is not None:
                worst = max(worst, variant.emulator.held_out * float(variant.point({}).junction_rise[0]))
        return worst

    @property
    def notes(self) -> tuple[str, ...]:
        """How it was sampled, and what to know of it."""
        count = len(self.run.numbers)
        notes = [f"{count} samples, seed {self.sampler.seed}, {self.sampler.method}", *self.run.notes]
        solves = [v.emulator.solves for v in self.model.variants if v.emulator is not None]
        if solves:
            notes.append(
                f"by emulators of {', '.join(map(str, solves))} solves; error at points left out up to "
                f"{self.numerical_error:.2g} K"
            )
        if self.model.assumed_leakage:
            notes.append(
                "equal workload: no leakage is described, so power is taken to fall by 0.1 to 0.8 % a kelvin "
                "(assumed; common practice, no source)"
            )
        return tuple(notes)
