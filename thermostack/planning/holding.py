"""What to hold fixed between before and after: how large a change of it feigns a drop."""

from __future__ import annotations

import numpy as np

from ..field import model_with_hot_points
from ..local import answer
from ..stack.stack import Stack
from ..tables import Cell, Column, Table

__all__ = ["held_fixed"]

NUDGE = 0.02
"""Relative change of an input over which the rise is differenced; halving it moves no figure shown."""


def held_fixed(stack: Stack, solver: str, drop: float) -> Table:
    """Return what must not change from before to after, with the change that would feign a drop.

    Parameters
    ----------
    stack : Stack
        Before the mod.
    solver : str
    drop : float
        Of the die's mean over the coolant. [K]

    Returns
    -------
    Table
        A row a thing to hold: what a change of it does to die minus coolant, and which change feigns the drop, to
        first order. Figures of the stack's own inputs are differenced on its model; the rest follows by definition.
    """
    model = model_with_hot_points(stack, solver)
    plain = answer(model, solver)
    rise, power = float(plain.hottest_mean_rise[0]), float(plain.total[0])
    rows: list[tuple[Cell, ...]] = []

    def slope(path: str) -> float:
        """Change of the rise per relative change of an input. [K]"""
        centre = float(model.values()(path))
        ends = answer(model, solver, model.values({path: centre * np.array([1 - NUDGE, 1 + NUDGE])})).hottest_mean_rise
        return float(ends[1] - ends[0]) / (2 * NUDGE)

    gain = sum(slope(f"{die}.power") for die in model.dies)
    rows.append(
        ("package power (clocks, voltage, workload)", "1 % less", gain / 100, f"{100 * drop / gain:.2g} %",
         f"log it; {power * drop / gain:.1f} W less reads as {drop:g} K; a part that runs cooler draws less by itself, "
         "0.1 to 0.8 % a kelvin: divide by the power, do not correct by hand")
    )  # fmt: skip
    rows.append(
        ("coolant, where it is read", "0.1 K read too high", 0.1, f"{drop:g} K",
         "same probe at the same place close to the block; compare probes in stirred water")
    )  # fmt: skip
    names = {"coolant.conductance": "conductance of the plate", "coolant.resistance": "resistance of the cooler",
             "coolant.flow": "flow"}  # fmt: skip
    for path, name in names.items():
        if path not in model.inputs:
            continue
        change = slope(path)
        if abs(change) < 1e-6 * rise:
            continue
        share = 100 * drop / abs(change)
        sign = "more" if change < 0 else "less"
        told = f"{share:.2g} %" if share < 100 else "no change feigns it"
        rows.append(
            (f"{name} (pump, flow, fans)", f"10 % {sign}", abs(change) / 10, told, "fixed pump and fan speeds, logged")
        )
    if not any(str(row[0]).startswith(tuple(names.values())) for row in rows):
        rows.append(("flow, pump and fans", None, None, None, "fixed speeds, logged"))
    rows += [
        ("one sensor, read as before", "0.1 K of a shift", 0.1, f"{drop:g} K",
         "same sensors, same tool, same throttle point; take drops sensor by sensor"),
        ("mount force and the order of tightening", None, None, None, "same springs, same turns, diagonally"),
        ("paste: kind, amount, age of the joint", None, None, None, "same tube, same pattern, same hours of heat"),
        ("room and place of the probe in it", None, None, None, "within 1 K; probe at the intake"),
    ]  # fmt: skip
    columns = (
        Column("what", "hold fixed", wrap=34),
        Column("change", "a change of"),
        Column("reads_K", "reads as a drop of [K]", ".2f"),
        Column("feigns", f"feigns {drop:g} K", align="right"),
        Column("how", "how", wrap=50),
    )
    return Table(columns, tuple(rows), "What to hold fixed from before to after")
