"""From two raw logs of an invented part to steady readings, before and after a relid.

Run it as ``python examples/read_logs.py``; the pictures go to ``figures/`` beside this file, or to the folder that is
given as an argument. The logs were made by ``generate_logs.py``; nothing in them was measured.
"""

import sys
from pathlib import Path

import matplotlib

import thermostack as ts

HERE = Path(__file__).parent
COLUMNS = {
    "time": "time",
    "sensors": {"core *": "core *"},
    "coolant": "coolant",
    "ambient": "room",
    "power": "power",
    "pump": "pump",
}


def main(folder: Path) -> tuple[ts.Reading, ts.Reading]:
    """Print both readings and what changed, draw the logs; return the readings."""
    folder.mkdir(parents=True, exist_ok=True)
    readings = []
    for name in ("before", "after"):
        log = ts.read_log(HERE / f"{name}.csv", COLUMNS)
        # the file says that its sensors cut off what is below a whole degree
        reading = log.steady(truncating=log.of_role("sensor"))
        print(f"{reading}\n")
        log.plot(reading).figure.savefig(folder / f"log-{name}.png", dpi=120)
        readings.append(reading)
    before, after = readings
    ts.warn_if_swapped([before], [after])
    drop = 1e3 * (before.resistance - after.resistance).mean()
    print(f"All cores together: {drop:.1f} mK/W less from core to coolant.")
    print(ts.pool_mounts([before]))
    return before, after


if __name__ == "__main__":
    matplotlib.use("Agg")
    main(Path(sys.argv[1]) if len(sys.argv) > 1 else HERE / "figures")
