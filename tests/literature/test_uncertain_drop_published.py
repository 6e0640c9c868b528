"""An uncertain drop: the linear budget against the `uncertainties` package on the closed sum, and practice as sanity.

The package propagates linearly through any expression by derivatives of its own (law of propagation, JCGM 100:2008,
equations (10) and (13)); the sum is written down here a second time. Facts of the trade are marked.
"""

import math

import numpy as np
import pytest
from uncertainties import correlated_values, ufloat, umath

import thermostack as ts
from thermostack.ensemble import ensemble_of
from thermostack.measured.reading import Reading

AREA, SIDES = 1e-4, ("10 mm", "10 mm")
METAL = ts.Interface("liquid metal", "gallium alloy", bond_line="30 um (x/ 1.3)", conductivity="23 W/m/K (x/ 1.15)",
                     contact="0.5 mm^2*K/W (x/ 1.4)")  # fmt: skip
PASTE = ts.Interface("paste", "ceramic paste", resistance="14 mm^2*K/W (x/ 1.3)")
MOUNT = {"gallium alloy": 1.284, "ceramic paste": 1.1052}
"""Mount factors of these classes: exp(0.25) and exp(0.10), after the catalogue (from memory), to four decimals."""


def flush():
    """A part whose footprints are all alike, of constant conductivity: its rise is P r/A."""
    silicon, copper = ts.Material.of("plain silicon", 120.0), ts.Material.of("plain copper", 400.0)
    solder = ts.Interface("solder", resistance="6 mm^2*K/W (sd 0.6 mm^2*K/W)")
    die = ts.Die("die", silicon, "0.6 mm (sd 0.02 mm)", SIDES, "120 W (sd 4 W)", solder)
    layers = [
        ts.Layer("lid", copper, "2 mm (limits 0.2 mm)", footprint=SIDES),
        PASTE,
        ts.Layer("plate", copper, "3 mm"),
    ]
    return ts.Stack("flush part", die, layers, ts.Coolant("30 degC (sd 0.5 K)", conductance="50 kW/m^2/K (x/ 1.2)"))


def factor(f):
    """Return a lognormal factor about 1: linear in its logarithm, as the budget is."""
    return umath.exp(math.log(f) * ufloat(0, 1))


def inputs():
    """Return the inputs of both variants by name, uncertain, each once."""
    return {
        "power": ufloat(120, 4), "coolant": ufloat(303.15, 0.5), "die": ufloat(0.6e-3, 0.02e-3),
        "solder": ufloat(6e-6, 0.6e-6), "lid": ufloat(2e-3, 0.2e-3 / math.sqrt(3)), "paste": 14e-6 * factor(1.3),
        "h": 50e3 * factor(1.2), "first": factor(MOUNT["ceramic paste"]), "second": factor(MOUNT["ceramic paste"]),
        "line": 30e-6 * factor(1.3), "k": 23 * factor(1.15), "contact": 0.5e-6 * factor(1.4),
        "metal": factor(MOUNT["gallium alloy"]),
    }  # fmt: skip


def rise(x, joint, mount):
    """Return P r/A."""
    r = x["die"] / 120 + joint + x["lid"] / 400 + x["paste"] * x[mount] + 3e-3 / 400 + 1 / x["h"]
    return x["power"] * r / AREA


def test_the_linear_budget_is_that_of_the_package():
    before = flush()
    ensemble = ensemble_of([before, before.replace("solder", METAL).named("relid")], "one-dimensional", 100)
    x = inputs()
    metal = (x["line"] / x["k"] + x["contact"]) * x["metal"]
    first, drop = rise(x, x["solder"], "first"), rise(x, x["solder"], "first") - rise(x, metal, "second")
    for found, expected in ((ensemble.budget(), first + x["coolant"] - 273.15), (ensemble.drop_budget(1), drop)):
        assert found.value == pytest.approx(expected.nominal_value, rel=1e-6)
        # the normal values are cut off at zero, ten standard uncertainties away, and differences leave h⁴
        assert found.standard_uncertainty == pytest.approx(expected.std_dev, rel=1e-5)
        parts = sorted((abs(u) for u in expected.error_components().values()), reverse=True)
        np.testing.assert_allclose([abs(row.contribution) for row in found.rows][:8], parts[:8], rtol=1e-4)
    names = [row.path for row in ensemble.drop_budget(1).rows]
    assert "coolant.temperature" not in names[:9]  # it is shared: nothing of it is left in the drop


def test_the_budget_of_a_calibrated_part_is_that_of_the_package():
    """Tied together by a reading: C R Cᵀ with the correlations of the draws (JCGM 100:2008, 5.2.2)."""
    reading = Reading.of({"die": "101 degC (sd 0.3 K)"}, power="120 W (sd 1 W)", coolant="30 degC (sd 0.2 K)")
    before = ts.calibrate(flush(), reading, solver="one-dimensional")
    ensemble = ensemble_of([before, before.replace("solder", METAL).named("relid")], "one-dimensional", 100)
    draws = dict(zip(before.learned.identities, before.learned.draws.T, strict=True))
    logs = ("paste.resistance", "coolant.conductance", "paste.mount")
    names = ["die.thickness", "solder.resistance", "lid.thickness", *logs]
    columns = [next(draws[i] for i in draws if i.startswith(name)) for name in names]
    columns = [np.log(x) if name in logs else x for name, x in zip(names, columns, strict=True)]
    # the budget expands at the posterior median of each
    values = correlated_values([float(np.median(x)) for x in columns], np.cov(columns))
    x = inputs() | dict(zip(("die", "solder", "lid"), values[:3], strict=True))
    x |= dict(zip(("paste", "h", "first"), (umath.exp(v) for v in values[3:]), strict=True))
    metal = (x["line"] / x["k"] + x["contact"]) * x["metal"]
    for found, expected in (
        (ensemble.budget(), rise(x, x["solder"], "first") + x["coolant"] - 273.15),
        (ensemble.drop_budget(1), rise(x, x["solder"], "first") - rise(x, metal, "second")),
    ):
        assert found.value == pytest.approx(expected.nominal_value, rel=1e-4)  # medians are kept to six digits
        assert found.standard_uncertainty == pytest.approx(expected.std_dev, rel=2e-3)  # so are spreads
    # what the reading tied together matters: taken as independent, the die's temperature would be far less sure
    loose = sum(row.contribution**2 for row in ensemble.budget().rows) ** 0.5
    assert loose > 1.5 * ensemble.budget().standard_uncertainty


def test_monte_carlo_agrees_where_the_response_is_nearly_straight():
    """Small spreads: mean and standard uncertainty of the samples are the package's, within Monte Carlo error."""
    before = flush().change(
        {"paste.resistance": "14 mm^2*K/W (x/ 1.01)", "coolant.conductance": "50 kW/m^2/K (x/ 1.01)"}
    )
    after = before.change({"die.power": "130 W (sd 4 W)", "solder.resistance": "3 mm^2*K/W (sd 0.3 mm^2*K/W)"})
    ensemble = ensemble_of([before, after.named("after")], "one-dimensional", 20_000)
    # another description of the same unknown keeps its quantile: power and solder move together in both
    x = inputs() | {"paste": 14e-6 * factor(1.01), "h": 50e3 * factor(1.01)}
    expected = rise(x, x["solder"], "first") - rise(
        x | {"power": x["power"] + 10, "solder": x["solder"] / 2}, x["solder"] / 2, "first"
    )
    # means of products of independent factors, exactly: lognormal means lie above their medians
    paste = 14e-6 * math.exp((math.log(1.01) ** 2 + math.log(MOUNT["ceramic paste"]) ** 2) / 2)
    after = 0.6e-3 / 120 + 3e-6 + 2e-3 / 400 + paste + 3e-3 / 400 + math.exp(math.log(1.01) ** 2 / 2) / 50e3
    found = ensemble.drop(1, at="as described")
    assert abs(found.mean.value - (120 * 3e-6 - 10 * after) / AREA) < 4 * found.mean.error
    assert abs(found.standard_uncertainty.value - expected.std_dev) < 4 * found.standard_uncertainty.error


# -- *common practice, no source*


def typical(joint, conductance="35 kW/m^2/K (x/ 1.2)"):
    """A client part: 200 mm² die at 1 W/mm², lid and cold plate of copper, water block; sizes as they are known."""
    die = ts.Die(
        "die", "silicon", "0.775 mm (sd 0.02 mm)", ("14.14 mm", "14.14 mm"), "200 W", ts.Interface("joint 1", joint)
    )
    layers = [ts.Layer("lid", "copper", "2.5 mm", ("40 mm", "40 mm")), ts.Interface("joint 2", "ceramic paste"),
              ts.Layer("plate", "copper", "2.5 mm", ("50 mm", "50 mm"))]  # fmt: skip
    return ts.Stack("typical", die, layers, ts.Coolant("30 degC", conductance=conductance))


CLASS = ts.Interface("joint 1", "gallium alloy")
BANDS = {
    # *common practice, no source*: joint before, lid off, band of the median drop [K] at 1 W/mm²
    "relid of a soldered part": ("indium solder", False, 0.0, 5.0),
    "relid of a part with factory paste": ("factory polymer paste", False, 8.0, 25.0),
    "soldered part to bare die": ("indium solder", True, 5.0, 15.0),
}


@pytest.mark.parametrize(("joint", "bare", "low", "high"), BANDS.values(), ids=BANDS)
def test_median_gains_of_practice(joint, bare, low, high):
    before = typical(joint)
    after = before.replace("joint 1", CLASS)
    if bare:
        after = after.without("lid", "joint 2")
    drop = ts.compare(before, after, samples=2000, solver="one-dimensional").drop(1)
    assert low < drop.median.value < high
    assert drop.low.value < drop.median.value - 1 < drop.high.value - 2  # and it is far from certain


def test_a_relid_of_a_soldered_part_may_bring_nothing():
    """*Common practice, no source*: some who relid a soldered part gain nothing, or lose."""
    before = typical("indium solder")
    found = ts.compare(before, before.replace("joint 1", CLASS), samples=2000, minimum="0 K", solver="one-dimensional")
    assert 0.01 < found.drop(1).below[0][1].value < 0.3


@pytest.mark.parametrize(("bare", "low", "high"), [(False, 0.2, 0.9), (True, 0.3, 2.0)], ids=["lidded", "bare die"])
def test_what_a_remount_of_paste_alone_scatters(bare, low, high):
    """Joint only, 0.2 to 0.9 K a mount on a lidded 200 W part, 0.3 to 2 K on a bare die (from memory)."""
    before = typical("indium solder")
    if bare:
        before = before.replace("joint 1", ts.Interface("joint 1", "ceramic paste")).without("lid", "joint 2")
    again = before.remounted("joint 1") if bare else before.remounted()
    drop = ts.compare(before, again.named("again"), samples=2000, solver="one-dimensional").drop(1)
    assert low < drop.standard_uncertainty.value / math.sqrt(2) < high
    assert abs(drop.median.value) < 0.1
