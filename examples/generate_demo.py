"""Make the invented logs of two stories: a relid whose drop is too large, and one whose drop is too small.

Nothing here was measured; the part does not exist. Run it as ``python examples/generate_demo.py``; it writes the logs
into ``demo/`` beside itself, or into the folder that is given as an argument.

How far each core stands above the coolant is in ``demo/resistances.json``, which finite elements gave for a true part
that differs from what ``demo/part.toml`` describes (``tests/studies/demo_resistances.py``). Each story has one planted
cause, told at the end of this file. What a bench makes of it is that of ``generate_logs.py``: time constants, wandering
load, drifting room, noise, offsets of the sensors, whole degrees cut off, missing rows. Every log has a seed.
"""

from __future__ import annotations

import json
import sys
from pathlib import Path

from generate_logs import Bench, Series, generate

HERE = Path(__file__).parent
DEMO = HERE / "demo"
STORIES, STATES, MOUNTS = ("too-large", "too-small"), ("before", "after"), (1, 2)
SECONDS = (480.0, 900.0, 1320.0)
"""Idle, half load, full load."""
IDLE, FULL = 14.0, 210.0
"""Power at idle, and at full load before the mod. [W]"""
LEAKAGE = 0.005
"""By what share the power falls for each kelvin of the cores' mean, at one workload. [1/K]"""
OFFSETS = {"core a": 0.6, "core b": -0.4, "core c": 0.3, "core d": -0.8}
"""Of the sensors; the same before and after. [K]"""


def solved(story: str, state: str, mount: int) -> dict[str, tuple[float, float]]:
    """Return R [K/W] and B [K/W²] of each core, which stands R P + B P² above the coolant."""
    found = json.loads((DEMO / "resistances.json").read_text(encoding="utf-8"))
    return {core: (r, b) for core, (r, b) in found[story][state][mount - 1].items()}


def mean_rise(story: str, state: str, power: float) -> float:
    """Return the rise of the cores' mean over the coolant, on the average of the mounts. [K]"""
    every = [pair for mount in MOUNTS for pair in solved(story, state, mount).values()]
    return sum(r * power + b * power**2 for r, b in every) / len(every)


def full_power(story: str, state: str) -> float:
    """Return the power at the workload that takes 210 W before: a part that runs cooler leaks less. [W]"""
    power = FULL
    for _ in range(20):
        power = FULL * (1 + LEAKAGE * (mean_rise(story, state, power) - mean_rise(story, "before", FULL)))
    return power


def demo_log(story: str, state: str, mount: int) -> dict[str, Series]:
    """Return the log of one mount of a state in one of the stories."""
    figures, full = solved(story, state, mount), full_power(story, state)
    bench = Bench(
        {core: r for core, (r, _) in figures.items()},
        tuple(zip(SECONDS, (IDLE, full / 2, full), strict=True)),
        loop_time=150.0,
        room=22.3 - 0.4 * STATES.index(state) + 0.2 * mount,
        room_drift=0.3,
        interval=2.0,
        periodic=(5.0, 23.0),
        missing=0.004,
        offsets=OFFSETS,
        bends={core: b for core, (_, b) in figures.items()},
    )
    return generate(bench, seed=2000 + 100 * STORIES.index(story) + 10 * STATES.index(state) + mount)


def text_of(columns: dict[str, Series], story: str, state: str, mount: int) -> str:
    """Return a log in this project's own layout: two lines of remarks, a header with units, a row every two seconds."""
    digits = {"time": 0, "coolant": 1, "room": 1, "power": 1, "pump": 0}
    units = {"time": "s", "power": "W", "pump": "rpm"}
    lines = [f"# invented log: a part that does not exist, story '{story}', {state} a relid, mount {mount}"]
    lines.append("# made by generate_demo.py; sensors read whole degrees, cut off")
    lines.append(",".join(f"{name} [{units.get(name, 'degC')}]" for name in columns))
    for row in zip(*columns.values(), strict=True):
        lines.append(",".join(f"{value:.{digits.get(name, 0)}f}" for name, value in zip(columns, row, strict=True)))
    return "\n".join(lines) + "\n"


def main(folder: Path) -> None:
    folder.mkdir(parents=True, exist_ok=True)
    for story in STORIES:
        for state in STATES:
            for mount in MOUNTS:
                path = folder / f"{story}-{state}-{mount}.csv"
                path.write_text(text_of(demo_log(story, state, mount), story, state, mount), encoding="utf-8")
                print(f"{path.name}: {path.stat().st_size / 1000:.0f} kB")


if __name__ == "__main__":
    main(Path(sys.argv[1]) if len(sys.argv) > 1 else DEMO)

# The planted causes, for those who have tried it themselves:
# too-large: 5 % of the die, its corner under core b, was never bonded by the solder: that core ran 13 K too hot before.
# too-small: after the relid the lid stands 0.14 mm too high, on what was left of its adhesive.
