"""Predict what three mods of an invented part would bring: comparison, breakdowns, cautions and figures.

Run it as ``python examples/predict_mods.py``; the figures go to ``figures/`` beside this file, or to the folder that
is given as an argument.
"""

import sys
from pathlib import Path

import matplotlib

import thermostack as ts
from thermostack import plots

HERE = Path(__file__).parent


def main(folder: Path) -> ts.Comparison:
    """Print the answers and write the figures; return the comparison."""
    variants = ts.read_variants(HERE / "workstation.toml")
    comparison = ts.compare(*variants, limit="95 degC", samples=10_000, minimum="3 K")
    print(comparison)
    print(f"\n{comparison.budget(1).table('What the uncertainty of the relid’s drop comes from')}")
    for prediction in comparison.predictions:
        print(f"\n{prediction.breakdown}")

    bond_line = ts.sweep(variants[1], "liquid metal.bond_line", "10 um", "200 um", scale="logarithmic", samples=1000)
    folder.mkdir(parents=True, exist_ok=True)
    figures = {
        "comparison": comparison.plot(),
        "drops": plots.drops(comparison),
        "budget": plots.budget(comparison.budget(1), label=variants[1].label),
        "cross-section": plots.cross_section(comparison.predictions[0]),
        "profile": plots.profile(comparison.predictions[0]),
        "breakdown": plots.breakdown(comparison.predictions[0]),
        "bond line": bond_line.plot(),
    }
    print(f"\nFigures in {folder}:")
    for name, axes in figures.items():
        path = folder / f"{name.replace(' ', '-')}.png"
        axes.figure.savefig(path, dpi=120)
        print(f"  {path.name}")
    return comparison


if __name__ == "__main__":
    matplotlib.use("Agg")
    main(Path(sys.argv[1]) if len(sys.argv) > 1 else HERE / "figures")
