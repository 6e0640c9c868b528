"""What a comparison with samples costs, emulators and all, as a ratio to dense solves within one run; and how exact it is.

The figure to reach: 10,000 samples of three variants, off the centre with eight regions, in under 10 s on two cores. On
a quiet core that takes 1.64 ms for a dense solve of 400 unknowns (see DEVELOPERS.md) that is 6100 such solves on one
core; the limit here is that, on one core, so that what a second one gains is room.
"""

import time

import numpy as np
import pytest

import thermostack as ts
from thermostack.ensemble import ensemble_of, variables_of_stack, variant_of
from thermostack.field import model_with_hot_points
from thermostack.local import answer
from thermostack.propagate import Sampler

pytestmark = pytest.mark.long


def part(power="230 W"):
    """An invented part: an off-centre die with eight regions. Its power tells one from another, so that none is kept."""
    regions = [
        ts.Region(f"core {i}", "22 W", corner=(f"{1.5 + 2.6 * (i % 4)} mm", f"{2 + 8 * (i // 4)} mm"),
                  size=("2.2 mm", "4.5 mm"))
        for i in range(8)
    ]  # fmt: skip
    die = ts.Die(
        "die", "silicon", "0.72 mm (sd 0.02 mm)", footprint=("12.4 mm", "17.6 mm"),
        power=ts.PowerMap(power, regions=regions), centre=("1.5 mm", "-2 mm"),
        joint=ts.Interface("solder", "indium solder", bond_line="0.25 mm (sd 0.04 mm)"),
    )  # fmt: skip
    layers = [ts.Layer("lid", "copper", "2.4 mm", footprint=("36 mm", "36 mm")), ts.Interface("paste", "ceramic paste"),
              ts.Layer("cold plate", "copper", "3 mm", footprint=("50 mm", "50 mm"))]  # fmt: skip
    return ts.Stack("invented part", die, layers, ts.Coolant("26 degC", conductance="35 kW/m^2/K (x/ 1.2)"))


def variants(power="230 W"):
    before = part(power)
    relid = before.replace("solder", ts.Interface("liquid metal", "gallium alloy")).named("relid")
    return before, relid, relid.without("lid", "paste").named("bare")


def test_compare_with_ten_thousand_samples(once):
    ts.predict(part("200 W"))  # what is loaded when first used

    def compared():
        found = ts.compare(*variants(), samples=10_000, limit="95 degC", minimum="3 K")
        return found, (found.drop(1), found.drop(2))

    (found, drops), seconds = once(compared)
    assert found.sampled.run.complete
    assert len(found.sampled.run.numbers) == 10_000
    assert 0 < drops[0].median.value < drops[1].median.value
    assert seconds < 10.0


def test_again_it_costs_a_tenth():
    """Emulators, hottest points and local conductivity are kept: what is left is samples."""
    start = time.process_time()
    first = ensemble_of(variants("240 W"), "layered", 100)
    built = time.process_time() - start
    start = time.process_time()
    again = ensemble_of(variants("240 W"), "layered", 100)
    assert time.process_time() - start < 0.1 * built
    np.testing.assert_array_equal(again.run.results, first.run.results)


def test_a_thousandth_of_the_rise_against_direct_solves():
    """A hundred samples of each variant, tails and bad mounts with them: the rise of the junction to 0.1 % in the worst."""
    worst = {}
    for stack in variants():
        variables = variables_of_stack(stack)
        variant = variant_of(stack, "layered", variables, limit=273.15 + 95)
        samples = Sampler(variables, 17, "latin hypercube").draw(0, 100)
        model = model_with_hot_points(stack, "layered")
        direct = answer(model, "layered", model.values(samples)).junction_rise
        worst[stack.label] = float(np.max(np.abs(variant.point(samples).junction_rise / direct - 1)))
    print({label: f"{100 * share:.3f} %" for label, share in worst.items()})
    assert max(worst.values()) < 1e-3
