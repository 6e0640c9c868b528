"""Make invented logs: what a bench would record of a part that does not exist, with the faults that real logs have.

Nothing here was measured. Run it as ``python examples/generate_logs.py``; it writes ``before.csv`` and ``after.csv``,
an invented part before and after a relid with liquid metal, into the folder that is given as an argument, or beside
itself.

The forward model: each sensor stands above the coolant by its resistance times the package power, which it follows
through two time constants (die, and lid with plate); the coolant stands above the room by the loop's resistance times
the power, through the loop's own; the room drifts. Onto the load come an AR(2) wander, a periodic part and idle times;
onto the sensors white noise, an offset each, and whole steps, truncated or rounded. Rows go missing. Every log has a
seed.
"""

from __future__ import annotations

import sys
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from scipy.signal import lfilter

HERE = Path(__file__).parent
Series = NDArray[np.float64]


@dataclass(frozen=True)
class Bench:
    """What the invented bench is, and how it records.

    Parameters
    ----------
    resistances : dict of str to float
        Of each sensor above the coolant. [K/W]
    shares : tuple of pairs
        Share of the rise and time constant of each of its parts. [s]
    levels : tuple of pairs
        How long, and at which power. [s, W]
    loop_resistance, loop_time : float
        Coolant above room over power, and the time constant of the loop. [K/W, s]
    room, room_drift : float
        [°C, K/h]
    interval, duration : float
        Between rows; duration is that of the levels. [s]
    wander : tuple of float
        Coefficients φ₁, φ₂ of the AR(2) wander of the load, and its standard deviation. [W]
    periodic : tuple of float
        Amplitude and period of the load. [W, s]
    noise : float
        White, of each sensor. [K]
    step, truncating : float, bool
        Of the sensors; 0 for none. [K]
    missing : float
        Share of rows that are lost.
    settled : bool
        Whether the log begins with everything at rest at the first level's power, or at room temperature.
    offsets : dict of str to float
        Of sensors. [K]
    bends : dict of str to float
        What a sensor's rise gains with the square of the power, as silicon conducts worse when it is hot. [K/W²]
    """

    resistances: dict[str, float]
    levels: tuple[tuple[float, float], ...]
    shares: tuple[tuple[float, float], ...] = ((0.6, 0.8), (0.4, 9.0))
    loop_resistance: float = 0.035
    loop_time: float = 240.0
    room: float = 22.0
    room_drift: float = 0.0
    interval: float = 1.0
    wander: tuple[float, float, float] = (1.2, -0.3, 1.5)
    periodic: tuple[float, float] = (0.0, 30.0)
    noise: float = 0.25
    step: float = 1.0
    truncating: bool = True
    coolant_noise: float = 0.03
    coolant_step: float = 0.1
    missing: float = 0.0
    settled: bool = False
    offsets: dict[str, float] = field(default_factory=dict)
    bends: dict[str, float] = field(default_factory=dict)

    @property
    def duration(self) -> float:
        """Of the log. [s]"""
        return sum(seconds for seconds, _ in self.levels)


def lagged(drive: Series, time_constant: float, interval: float, first: float) -> Series:
    """Return a first-order lag of a series, exact for a drive that is constant over each interval."""
    keep = np.exp(-interval / time_constant)
    return np.asarray(lfilter([1 - keep], [1, -keep], drive, zi=[keep * first])[0])


def generate(bench: Bench, seed: int) -> dict[str, Series]:
    """Return the columns of a log: "time" [s], sensors and "coolant", "room" [°C], "power" [W], "pump" [rpm].

    Rows that went missing are left out. With the same seed the same log.
    """
    rng = np.random.default_rng(seed)
    time = np.arange(0.0, bench.duration, bench.interval)
    ends = np.cumsum([seconds for seconds, _ in bench.levels])
    level = np.array([watts for _, watts in bench.levels])[np.searchsorted(ends, time, side="right")]
    first, second, sd = bench.wander
    # variance of an AR(2) with unit shocks (Box, Jenkins and Reinsel, 3.2.27)
    variance = (1 - second) / ((1 + second) * ((1 - second) ** 2 - first**2))
    settling = 2000
    shocks = rng.standard_normal(len(time) + settling) * sd / np.sqrt(variance)
    wander = lfilter([1], [1, -first, -second], shocks)[settling:]
    amplitude, period = bench.periodic
    swing = amplitude * np.sin(2 * np.pi * time / period + rng.uniform(0, 2 * np.pi))
    power = level + (wander + swing) * level / level.max()
    room = bench.room + bench.room_drift * time / 3600
    rest = power[0] if bench.settled else 0.0
    loop = lagged(power * bench.loop_resistance, bench.loop_time, bench.interval, rest * bench.loop_resistance)
    coolant = room + loop
    followed = sum(share * lagged(power, constant, bench.interval, rest) for share, constant in bench.shares)
    out = {"time": time}
    for name, resistance in bench.resistances.items():
        rise = resistance * followed + bench.bends.get(name, 0.0) * followed**2
        exact = coolant + rise + bench.offsets.get(name, 0.0)
        out[name] = in_steps(exact + bench.noise * rng.standard_normal(len(time)), bench.step, bench.truncating)
    noisy = coolant + bench.coolant_noise * rng.standard_normal(len(time))
    out["coolant"] = in_steps(noisy, bench.coolant_step, False)
    out["room"] = in_steps(room + 0.02 * rng.standard_normal(len(time)), 0.1, False)
    out["power"] = in_steps(power, 0.125, False)
    out["pump"] = np.rint(2900 + 6 * rng.standard_normal(len(time)))
    kept = rng.random(len(time)) >= bench.missing
    kept[0] = True
    return {name: column[kept] for name, column in out.items()}


def in_steps(values: Series, step: float, truncating: bool) -> Series:
    """Return values in whole steps; as they are where the step is 0."""
    if not step:
        return values
    return (np.floor(values / step) if truncating else np.rint(values / step)) * step


BEFORE = {"core a": 0.212, "core b": 0.221, "core c": 0.217, "core d": 0.236}
"""Of the invented part under its solder. [K/W]"""
AFTER = {"core a": 0.185, "core b": 0.193, "core c": 0.190, "core d": 0.206}
LEVELS = ((480.0, 14.0), (1500.0, 230.0))


def demo(state: str) -> dict[str, Series]:
    """Return the demo log of a state, "before" or "after": idle for eight minutes, then under load."""
    resistances, room, seed = (BEFORE, 22.1, 41) if state == "before" else (AFTER, 21.6, 43)
    bench = Bench(resistances, LEVELS, room=room, room_drift=0.4, periodic=(6.0, 23.0), missing=0.004, loop_time=150.0)
    return generate(bench, seed)


def text_of(columns: dict[str, Series], state: str) -> str:
    """Return a log in this project's own layout: two lines of remarks, a header with units, one row a second."""
    digits = {"time": 0, "coolant": 1, "room": 1, "power": 3, "pump": 0}
    units = {"time": "s", "power": "W", "pump": "rpm"}
    lines = [f"# invented log: a part that does not exist, {state} a relid; made by generate_logs.py"]
    lines.append("# sensors read whole degrees, cut off")
    lines.append(",".join(f"{name} [{units.get(name, 'degC')}]" for name in columns))
    for row in zip(*columns.values(), strict=True):
        lines.append(",".join(f"{value:.{digits.get(name, 0)}f}" for name, value in zip(columns, row, strict=True)))
    return "\n".join(lines) + "\n"


if __name__ == "__main__":
    folder = Path(sys.argv[1]) if len(sys.argv) > 1 else HERE
    folder.mkdir(parents=True, exist_ok=True)
    for each in ("before", "after"):
        path = folder / f"{each}.csv"
        path.write_text(text_of(demo(each), each), encoding="utf-8")
        print(f"{path.name}: {path.stat().st_size / 1000:.0f} kB")
