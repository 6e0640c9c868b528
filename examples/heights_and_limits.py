"""Mods of an invented part in the trade's words, its heights and mount, and how thin or fast is enough.

Run it as ``python examples/heights_and_limits.py``.
"""

from pathlib import Path

import thermostack as ts

FILE = Path(__file__).parent / "relid.toml"


def main() -> list[ts.ValueFor]:
    """Print the answers; return those about limits."""
    part, relid, *others = ts.read_variants(FILE)
    package, mount = ts.read_mount(FILE)
    print(ts.compare(part, relid, *others, limit="95 degC").table)

    for stack in (relid, ts.mods.bare_die(relid)):  # does the lid stand on its rim, does the cooler reach?
        check = ts.mount_check(stack, package, mount)
        print(f"\n{check}")
        print(f"\nOn to the joints: {', '.join(f'{path} {value}' for path, value in check.feeds.items()) or 'nothing'}")

    line, flow = "liquid metal.bond_line", "coolant.flow"
    asked = [
        ts.value_for(relid, line, drop="2 K", baseline=part, between=("10 um", "300 um")),
        ts.value_for(relid, line, drop="0 K", baseline=part, between=("10 um", "300 um")),  # what destroys the gain
        ts.value_for(relid, "liquid metal.bow", drop="0 K", baseline=part, between=("0 um", "300 um")),
        ts.value_for(relid, flow, junction="60 degC", between=("1 L/min", "8 L/min")),
    ]
    print("\nLimits:")
    for answer in asked:
        print(f"  {answer.text}")
    print(f"\n{asked[0].chances()}")
    return asked


if __name__ == "__main__":
    main()
