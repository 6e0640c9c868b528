"""From the logs of two invented relids to the page: is the drop credible, what could explain it, what to measure next.

Run it as ``python examples/check_result.py``; it writes the plan that should have come first, and a page for each
story, into ``pages/`` beside this file, or into the folder that is given as an argument. The logs were made by
``generate_demo.py``; nothing in them was measured.
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
STORIES = {
    "too-large": "A relid that seems to bring too much",
    "too-small": "A relid that seems to bring too little",
}
CORES = ("core a", "core b", "core c", "core d")
COMMON = {"power.gain": "0 (sd 0.03)"}
for core in CORES:  # what nobody knows of the sensors and the meter, but is the same before and after
    COMMON |= {f"{core}.offset": "0 K (sd 1 K)", f"{core}.slope": "0 (sd 0.02)", f"{core}.pivot": "60 degC"}
REMARK = (
    "The part, its logs and this story are invented: no such processor exists, and nothing here was measured. One "
    "cause was planted; generate_demo.py tells which."
)


def readings(story: str, state: str) -> list[tuple[ts.Log, ts.Reading]]:
    """Return the steady readings at full load of all mounts of a state, each with its log."""
    found = []
    for mount in (1, 2):
        log = ts.read_log(HERE / "demo" / f"{story}-{state}-{mount}.csv", COLUMNS)
        # the file says that its sensors cut off what is below a whole degree
        reading = log.steady(truncating=log.of_role("sensor"), common=COMMON, level="full load", mount=str(mount))
        found.append((log, reading))
    return found


def main(folder: Path) -> dict[str, ts.Check]:
    """Write a page for each story; return the checks."""
    folder.mkdir(parents=True, exist_ok=True)
    before, after = ts.read_variants(HERE / "demo" / "part.toml")
    plan = ts.plan(before, after)
    print("\n".join(plan.sentences), "\n")
    ts.page(REMARK, plan, title="Plan of a relid").write(folder / "plan.html", overwrite=True)
    comparison = ts.compare(before, after, samples=4000)
    checks = {}
    for story, title in STORIES.items():
        logs = {state: readings(story, state) for state in ("before", "after")}
        checks[story] = ts.check(
            ts.State(before, *(reading for _, reading in logs["before"])),
            ts.State(after, *(reading for _, reading in logs["after"])),
        )
        print(title, *checks[story].sentences, sep="\n", end="\n\n")
        page = ts.page(REMARK, checks[story], comparison, logs["before"][0], logs["after"][0], title=title)
        for ending in ("html", "md"):
            print("  " + page.write(folder / f"{story}.{ending}", overwrite=True).name)
    return checks


if __name__ == "__main__":
    matplotlib.use("Agg")
    main(Path(sys.argv[1]) if len(sys.argv) > 1 else HERE / "pages")
