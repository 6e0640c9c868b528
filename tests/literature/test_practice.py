"""What mods bring in practice: bands of the trade (*common practice, no source*), and a table computed by closed form.

The table's model, computed for this project beside the bands: an evenly heated square die, one closed-form spreading
term for the plate on the die (Lee, Song, Au and Moran 1995, from memory), all else in series. Its sizes: lid and plate
base 30 x 30 x 2.5 mm of k = 390 W/m/K, joint under the plate 12 mm² K/W, flux 1 or 1.5 W/mm². The die itself is not
stated; only one of 6.2522 to 6.2538 mm² K/W makes all 36 figures come out at once.
"""

from functools import partial

import numpy as np
import pytest

import thermostack as ts
from thermostack.laws.closed_form import closed_form_spreading
from thermostack.laws.flux_channel import rectangle_on_flux_channel
from thermostack.model import model_of
from thermostack.operating import operate
from thermostack.solvers.series import one_dimensional

closed_form = partial(one_dimensional, spreading="closed form")
BIG = ("30 mm", "30 mm")
DIE = 6.253e-6
COPPER, SILICON = ts.Material.of("plain copper", 390.0), ts.Material.of("plain silicon", 0.75e-3 / DIE)

# -- bands: *common practice, no source*


def typical(joint, *, power="200 W", conductance="35 kW/m^2/K"):
    """A client part: 200 mm² die at 1 W/mm², lid and cold plate of copper, water block."""
    die = ts.Die("die", "silicon", "0.775 mm", ("14.14 mm", "14.14 mm"), power, ts.Interface("joint 1", joint))
    layers = [ts.Layer("lid", "copper", "2.5 mm", BIG), ts.Interface("joint 2", "ceramic paste"),
              ts.Layer("plate", "copper", "2.5 mm", BIG)]  # fmt: skip
    return ts.Stack("typical", die, layers, ts.Coolant("30 degC", conductance=conductance))


METAL = ts.Interface("joint 1", "gallium alloy")
BANDS = {
    "solder to liquid metal under the lid": ("indium solder", False, 0.0, 5.0),
    "factory paste to liquid metal under the lid": ("factory polymer paste", False, 8.0, 25.0),
    "soldered lid to bare die with liquid metal": ("indium solder", True, 5.0, 15.0),
}


@pytest.mark.parametrize("conductance", ["25 kW/m^2/K", "50 kW/m^2/K"])
@pytest.mark.parametrize(("joint", "bare", "low", "high"), BANDS.values(), ids=BANDS.keys())
def test_gains_of_practice(joint, bare, low, high, conductance):
    before = typical(joint, conductance=conductance)
    after = before.replace("joint 1", METAL)
    if bare:
        after = after.without("lid", "joint 2")
    drops = ts.compare(before, after, solver="one-dimensional").table.to_dict()["drop_junction_K"]
    assert low < drops[1] < high


# -- the computed table: rise of the hottest point over the coolant


CASES = {"200 mm², h 25k": (200, 200, 25), "200 mm², h 50k": (200, 200, 50), "100 mm², h 50k": (100, 150, 50)}
LIDDED = {  # joint 1, joint 2 [mm² K/W]: rise in each case
    (25, 12): (61.8, 56.2, 73.9), (15, 12): (51.8, 46.2, 58.9), (5, 12): (41.8, 36.2, 43.9),
    (3, 12): (39.8, 34.2, 40.9), (1.5, 12): (38.3, 32.7, 38.6),
    (5, 25): (45.1, 39.9, 46.8), (5, 8): (40.7, 35.0, 42.9), (5, 3): (39.4, 33.5, 41.5),
}  # fmt: skip
BARE = {3: (34.7, 28.1, 35.7), 1.5: (33.2, 26.6, 33.4), 10: (41.7, 35.1, 46.2), 20: (51.7, 45.1, 61.2)}
ROUNDED = 0.05 + 1e-6  # the table's last digit
EACH_CASE = pytest.mark.parametrize("case", range(3), ids=CASES)


def table_stack(case, joint_1, joint_2=None):
    area, power, h = list(CASES.values())[case]
    side = f"{area**0.5:.15g} mm"
    die = ts.Die("die", SILICON, "0.75 mm", (side, side), f"{power} W",
                 ts.Interface("joint 1", resistance=f"{joint_1} mm^2*K/W"))  # fmt: skip
    layers = [ts.Layer("base", COPPER, "2.5 mm", BIG)]
    if joint_2 is not None:
        below = [ts.Layer("lid", COPPER, "2.5 mm", BIG), ts.Interface("joint 2", resistance=f"{joint_2} mm^2*K/W")]
        layers = [*below, *layers]
    return ts.Stack("table", die, layers, ts.Coolant("25 degC", conductance=f"{h} kW/m^2/K"))


def rise(stack, solver):
    return float(operate(model_of(stack), solver).junction_rise[0])


@EACH_CASE
@pytest.mark.parametrize("joint_1", BARE)
def test_bare_rows_of_the_table(joint_1, case):
    assert rise(table_stack(case, joint_1), closed_form) == pytest.approx(BARE[joint_1][case], abs=ROUNDED)


@EACH_CASE
@pytest.mark.parametrize("joints", LIDDED)
def test_lidded_rows_of_the_table_by_their_own_model(joints, case):
    """Only the lid spreads in the table; what lies on it is a film of its one-dimensional resistance."""
    area, power, h = list(CASES.values())[case]
    film = 1 / (joints[1] * 1e-6 + 2.5e-3 / 390 + 1 / (h * 1e3))
    radius = np.sqrt(np.array([area * 1e-6, 900e-6]) / np.pi)
    lid = closed_form_spreading(*radius, 2.5e-3, 390.0, film, warn=False).centre
    found = power * (float(lid) + (DIE + joints[0] * 1e-6) / (area * 1e-6))
    assert found == pytest.approx(LIDDED[joints][case], abs=ROUNDED)


def test_the_closed_form_against_the_series():
    """The figures stated beside the table: 16.1 and 15.0 K by closed form, 15.7 and 14.4 K by series; bare 13, 12."""
    film = 1 / (12e-6 + 2.5e-3 / 390 + 1 / np.array([25e3, 50e3]))
    side, radius = np.sqrt(200e-6), np.sqrt(np.array([200e-6, 900e-6]) / np.pi)
    quick = closed_form_spreading(*radius, 2.5e-3, 390.0, film, warn=False).spreading_centre
    series = rectangle_on_flux_channel([0.03, 0.03], [side, side], None, 2.5e-3, 390.0, film).spreading_centre
    assert 200 * quick == pytest.approx([16.1, 15.0], abs=ROUNDED)
    assert 200 * series == pytest.approx([15.7, 14.4], abs=ROUNDED)
    assert 200 * closed_form_spreading(*radius, 2.5e-3, 390.0, 50e3, warn=False).spreading_centre == pytest.approx(
        13.0, abs=ROUNDED
    )
    bare = rectangle_on_flux_channel([0.03, 0.03], [side, side], None, 2.5e-3, 390.0, 50e3).spreading_centre
    assert 200 * bare == pytest.approx(12.0, abs=ROUNDED)


@EACH_CASE
def test_the_solver_on_lidded_stacks(case):
    """Joint 1 acts on the die's area alone. The base spreads too, so every rise is below the table's."""
    rises = {joints: rise(table_stack(case, *joints), one_dimensional) for joints in LIDDED}
    flux = (1.0, 1.0, 1.5)[case]
    for (r1, r2), found in rises.items():
        assert found < LIDDED[r1, r2][case]
        if r2 == 12:
            assert found - rises[5, 12] == pytest.approx(flux * (r1 - 5), rel=1e-9)
