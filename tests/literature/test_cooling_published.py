"""Cooling side against published values, the libraries ht, fluids and CoolProp, and numerical solutions of our own."""

import functools
import math

import fluids
import ht
import numpy as np
import pytest
from scipy import sparse
from scipy.sparse.linalg import eigsh, splu

import thermostack as ts
from thermostack.catalogue import fluid
from thermostack.laws import boiling, ducts, exchangers, fins, jets

# -- ducts: table of Shah and London's fits in trade-practice section 10; Shah and London 1978, tables 42 and 43 (from memory)

SHAH_LONDON = [  # short/long, Nu H1, Nu T, f Re: exact solutions, as printed in Incropera table 8.1 and in the book (from memory)
    (1.0, 3.608, 2.976, 14.227),
    (0.5, 4.123, 3.391, 15.548),
    (0.25, 5.331, 4.439, 18.233),
    (0.125, 6.490, 5.597, 20.585),
    (0.0, 8.235, 7.541, 24.0),
]


@pytest.mark.parametrize(("aspect", "flux", "temperature", "friction"), SHAH_LONDON)
def test_rectangular_ducts_of_shah_and_london(aspect, flux, temperature, friction):
    # as the docstrings state how far the fits are off
    assert float(ducts.rectangular_nusselt(aspect)) == pytest.approx(flux, rel=1e-3)
    assert float(ducts.rectangular_nusselt(aspect, "temperature")) == pytest.approx(temperature, rel=1.5e-3)
    assert float(ducts.rectangular_friction(aspect)) == pytest.approx(friction, rel=7e-4)


@pytest.mark.parametrize(("aspect", "nusselt"), [(0.1, 6.788), (0.25, 5.333), (0.5, 4.126), (1, 3.610)])
def test_rectangular_ducts_as_ht_has_them(aspect, nusselt):
    ours = float(ducts.rectangular_nusselt(aspect))
    assert ours == pytest.approx(float(ht.Nu_laminar_rectangular_Shan_London(aspect)), rel=1e-12)
    assert round(ours, 3) == nusselt


@pytest.mark.parametrize("aspect", np.linspace(0.02, 1.0, 50))
def test_friction_is_that_of_the_exact_series(aspect):
    # Poiseuille flow in a rectangle, exact: f Re on the hydraulic diameter (White, Viscous Fluid Flow, from memory)
    n = np.arange(1, 200, 2)
    series = np.sum(np.tanh(n * np.pi / (2 * aspect)) / n**5)
    exact = 24 / ((1 + aspect) ** 2 * (1 - 192 * aspect / np.pi**5 * series))
    assert float(ducts.rectangular_friction(aspect)) == pytest.approx(exact, rel=7e-4)


class Graetz:
    """Thermal entry in developed flow through a rectangle with walls of one temperature: finite volumes, marched."""

    def __init__(self, aspect, n=48):
        # a quarter of the duct, long side 1; D = 2 a/(1 + a)
        self.ny, self.nz = n, max(int(n * aspect), 16)
        self.dy, self.dz = 0.5 / self.ny, 0.5 * aspect / self.nz
        self.diameter = 2 * aspect / (1 + aspect)
        self.laplace = sparse.kronsum(self._second(self.nz, self.dz), self._second(self.ny, self.dy), format="csc")
        velocity = -splu(self.laplace).solve(np.ones(self.ny * self.nz))
        self.velocity = velocity / velocity.mean()

    @staticmethod
    def _second(n, d):
        # symmetry at the first face, wall of temperature 0 half a cell beyond the last
        main = -2.0 * np.ones(n)
        main[0], main[-1] = -1.0, -3.0
        return sparse.diags([np.ones(n - 1), main, np.ones(n - 1)], [-1, 0, 1]) / d**2

    def developed_nusselt(self):
        """Nusselt number far from the inlet, where the temperature decays with the slowest mode."""
        slowest = eigsh(-self.laplace, k=1, M=sparse.diags(self.velocity).tocsc(), sigma=0, which="LM")[0][0]
        return slowest * self.diameter**2 / 4

    def mean_nusselt(self, ends):
        """Mean Nusselt numbers from the inlet to each x* = x/(D Re Pr); the flux against the log-mean difference."""
        T, x, found = np.ones_like(self.velocity), 0.0, []
        capacity = sparse.diags(self.velocity)
        for end in ends:  # backward Euler, steps that grow with the distance
            steps = 160
            dx = (end - x) * self.diameter**2 / steps
            solve = splu((capacity - dx * self.laplace).tocsc())
            for _ in range(steps):
                T = solve.solve(self.velocity * T)
            x = end
            bulk = float(np.mean(self.velocity * T))
            found.append(-math.log(bulk) / (4 * x))
        return np.array(found)


@pytest.mark.parametrize(("aspect", "stated"), [(0.1, 0.07), (0.25, 0.07), (0.5, 0.09), (1.0, 0.12)])
def test_thermal_entry_against_a_numerical_solution(aspect, stated):
    ends = np.geomspace(1e-4, 1.0, 25)
    exact = Graetz(aspect).mean_nusselt(ends)
    developed = float(ducts.rectangular_nusselt(aspect, "temperature"))
    entry = ducts.entry_nusselt(ducts.rectangular_friction(aspect), ends, "temperature")
    ours = ducts.developing_nusselt(developed, entry)
    used = ends > 1e-3  # nearer to the inlet the grid is too coarse
    assert np.abs(ours / exact - 1)[used].max() < stated  # in the docstring of developing_nusselt
    assert Graetz(aspect, 96).developed_nusselt() == pytest.approx(developed, rel=2.5e-3)  # the grid's own error


def test_entry_of_a_round_tube():
    # Hausen as in ht (reference section 10: 5.078); he is stated within 5 % or so of the Graetz series
    graetz = 500 * 5.86 * 0.0003 / 0.03
    joined = ducts.developing_nusselt(3.66, ducts.entry_nusselt(16.0, 1 / graetz, "temperature"))
    hausen = ht.laminar_entry_thermal_Hausen(500, 5.86, 0.03, 0.0003)
    assert hausen == pytest.approx(5.078, abs=5e-4)
    assert float(joined) == pytest.approx(hausen, rel=0.03)
    # Lévêque: 1.077 and 1.302 x*^(-1/3) locally (Shah and London), half as much again in the mean
    assert float(ducts.entry_nusselt(16.0, 1e-6, "temperature")) == pytest.approx(1.5 * 1.077 * 100, rel=2e-3)
    assert float(ducts.entry_nusselt(16.0, 1e-6)) == pytest.approx(1.5 * 1.302 * 100, rel=2e-3)


def test_gnielinski():
    friction = float(ducts.smooth_friction(1e4))
    assert friction == pytest.approx(0.03148, abs=5e-6)
    assert float(ducts.gnielinski_nusselt(1e4, 5.86, friction)) == pytest.approx(74.31, abs=5e-3)
    library = fluids.friction_factor(Re=1e4)
    assert library == pytest.approx(0.03088, abs=5e-6)
    assert float(ducts.gnielinski_nusselt(1e4, 5.86, library)) == pytest.approx(73.35, abs=0.02)
    for re in (3500, 1e4, 1e5, 1e6):
        ours = float(ducts.gnielinski_nusselt(re, 5.86, ducts.smooth_friction(re)))
        assert ours == pytest.approx(
            ht.turbulent_Gnielinski(Re=re, Pr=5.86, fd=float(ducts.smooth_friction(re))), rel=1e-12
        )


def test_pressure_drop_of_a_duct():
    drop = float(ducts.duct_pressure_drop(400.0, 1.0, 500.0, 997.0, 2.0))
    head = 997 * 2.0**2 / 2
    assert drop == pytest.approx((4 * 14.23 / 400 * 500 + 1.5289) * head, rel=5e-4)  # f Re of section 10
    assert 1.43 <= float(ducts.rectangular_entry_loss(1.0)) <= 1.56  # values of several authors, Shah and London
    assert float(ducts.rectangular_entry_loss(0.0)) == pytest.approx(0.68, abs=0.02)  # parallel plates 0.674 to 0.686
    turbulent = float(ducts.duct_pressure_drop(2e4, 1.0, 500.0, 997.0, 2.0))
    assert turbulent == pytest.approx(fluids.friction_factor(Re=2e4) * 500 * head, rel=0.02)


# -- plate of reference section 10: 0.2/0.2 mm, 2 mm deep, water at 30 °C, Nu 6.788


def test_fin_channel_plate_of_the_reference():
    k = float(fluid("water").at(303.15).conductivity)
    D = float(ducts.hydraulic_diameter(2e-4, 2e-3))
    h = 6.788 * k / D
    assert h == pytest.approx(11.5e3, rel=5e-3)
    eta = float(fins.straight_fin_efficiency(h, 2.0, 390.0, 2e-4, 2e-3))
    assert eta == pytest.approx(0.733, abs=1e-3)
    assert float(fins.fin_channel_conductance(h, 2e-4, 2e-4, 2e-3, eta)) == pytest.approx(89.8e3, rel=2e-3)
    # textbook fin: h 2e4, k 390, t 0.2 mm, H 2 mm: 0.623, with t/2 0.602
    assert float(fins.straight_fin_efficiency(2e4, 2.0, 390.0, 2e-4, 2e-3)) == pytest.approx(0.623, abs=5e-4)
    assert float(fins.straight_fin_efficiency(2e4, 2.0, 390.0, 2e-4, 2.1e-3)) == pytest.approx(0.602, abs=5e-4)


def test_kern_kraus_fin():
    ours = float(fins.annular_fin_efficiency(58.0, 200.0, 3.8e-4, 0.0254 / 2, 0.05715 / 2))
    assert ours == pytest.approx(0.8413, abs=5e-5)
    assert ours == pytest.approx(
        ht.fin_efficiency_Kern_Kraus(Do=0.0254, D_fin=0.05715, t_fin=3.8e-4, k_fin=200, h=58), rel=1e-9
    )


# -- jets: own values of reference section 10 (Martin 1977 is not in ht)


def test_martin():
    assert float(jets.martin_jet_nusselt(1e4, 5.86, 4.0, 4.0)) == pytest.approx(107.4, abs=0.05)
    assert float(jets.martin_jet_nusselt(1e4, 0.7, 4.0, 4.0)) == pytest.approx(44.0, abs=0.05)
    assert float(jets.martin_jet_array_nusselt(1e4, 5.86, 4.0, 0.02)) == pytest.approx(98.1, abs=0.05)
    # Incropera prints the array's K and the single jet's G with the same numbers; by hand at f = 0.01, H/D = 6
    K = (1 + (6 / (0.6 / 0.1)) ** 6) ** -0.05
    assert float(jets.martin_jet_array_nusselt(2e3, 1.0, 6.0, 0.01)) == pytest.approx(
        K * 0.2 * 0.78 * 2e3 ** (2 / 3) / 2
    )


# -- exchangers: ht, and reference section 10


@pytest.mark.parametrize("ratio", [0.05, 0.25, 0.7, 1.0])
@pytest.mark.parametrize("ntu", [0.3, 1.0, 2.0, 4.0])
def test_crossflow(ntu, ratio):
    ours = float(exchangers.crossflow_effectiveness(ntu, ratio))
    # ht integrates numerically; the closed form of Kays and London in section 10 is up to 4 % off at a small NTU
    assert ours == pytest.approx(ht.effectiveness_from_NTU(NTU=ntu, Cr=ratio, subtype="crossflow"), rel=1e-8)
    near = ht.effectiveness_from_NTU(NTU=ntu, Cr=ratio, subtype="crossflow approximate")
    assert ours == pytest.approx(near, rel=0.04)


def test_radiator_of_the_reference():
    # 60 m³/h a fan, NTU 2, 3.8 L/min: 168/328/481 W per 10 K for one, two and three fans, computed there by the exact series
    assert float(exchangers.crossflow_effectiveness(2.0, 0.25)) == pytest.approx(0.7974, abs=5e-5)
    assert float(exchangers.crossflow_effectiveness(2.0, 0.0)) == pytest.approx(-math.expm1(-2), rel=1e-9)
    water = fluid("water").at(298.15)
    water_rate = 3.8e-3 / 60 * float(water.density * water.heat_capacity)
    air = fluid("air").at(298.15)
    for fans, watts in ((1, 168), (2, 328), (3, 481)):
        rate = fans * 60 / 3600 * float(air.density * air.heat_capacity)
        assert 10 / float(exchangers.exchanger_resistance(2 * rate, rate, water_rate)) == pytest.approx(
            watts, rel=0.015
        )


# -- boiling: nitrogen in ht


@functools.cache
def coolprop():
    """Return the library's function; loaded only where it is asked, since that takes seconds."""
    from CoolProp.CoolProp import PropsSI

    return PropsSI


def nitrogen():
    PropsSI = coolprop()
    saturated = {name: PropsSI(key, "T", 77.355, "Q", q, "Nitrogen") for name, key, q in (
        ("liquid", "D", 0), ("vapour", "D", 1), ("sigma", "I", 0), ("mu", "V", 0), ("cp", "C", 0), ("k", "L", 0))}  # fmt: skip
    saturated["h"] = PropsSI("H", "T", 77.355, "Q", 1, "Nitrogen") - PropsSI("H", "T", 77.355, "Q", 0, "Nitrogen")
    return saturated


def test_boiling_nitrogen():
    n = nitrogen()
    given = (n["h"], n["sigma"], n["liquid"], n["vapour"])
    for coefficient in (0.131, 0.149, 0.18):
        theirs = ht.Zuber(sigma=n["sigma"], Hvap=n["h"], rhol=n["liquid"], rhog=n["vapour"], K=coefficient)
        assert float(boiling.zuber_critical_flux(*given, coefficient)) == pytest.approx(theirs, rel=1e-6)
    assert float(boiling.zuber_critical_flux(*given, 0.18)) / 1e4 == pytest.approx(22.25, rel=5e-3)  # section 10
    theirs = ht.Rohsenow(rhol=n["liquid"], rhog=n["vapour"], mul=n["mu"], kl=n["k"], Cpl=n["cp"], Hvap=n["h"],
                         sigma=n["sigma"], Te=8, Csf=0.013, n=1.7) * 8  # fmt: skip
    ours = float(boiling.rohsenow_boiling_flux(8.0, *given, n["mu"], n["cp"], n["k"]))
    assert ours == pytest.approx(theirs, rel=1e-5)
    assert ours / 8 == pytest.approx(1.46e4, rel=0.01)  # section 10
    # the class keeps to the low side of it: fins at 10 to 20 kW/m²/K, and 18 W/cm² at most
    assert float(boiling.zuber_critical_flux(*given)) / 1e4 == pytest.approx(18, abs=0.6)


# -- properties against CoolProp, from which the table was made, between its rows

FLUIDS = {
    "water": "Water",
    "water-glycol 30 %": "INCOMP::MEG[0.3]",
    "water-glycol 50 %": "INCOMP::MEG[0.5]",
    "water-propylene glycol 30 %": "INCOMP::MPG[0.3]",
    "air": "Air",
}


@pytest.mark.parametrize("name", FLUIDS)
def test_coolants_against_coolprop(name):
    ours = fluid(name)
    low, high = ours.range
    for T in np.linspace(low + 0.01, high - 0.01, 43):
        p = ours.at(T)
        for field, key, tolerance in (
            ("density", "D", 1e-3),
            ("heat_capacity", "C", 1e-3),
            ("conductivity", "L", 1e-3),
            ("viscosity", "V", 5e-3),
        ):
            assert float(getattr(p, field)) == pytest.approx(
                coolprop()(key, "T", T, "P", 101325, FLUIDS[name]), rel=tolerance
            ), (T, field)


def test_water_of_the_textbook():
    # Incropera table A.6 at 300 K (from memory): 855e-6 Pa s, 0.613 W/m/K, 4179 J/kg/K, Pr 5.83
    p = fluid("water").at(300.0)
    assert float(p.viscosity) == pytest.approx(855e-6, rel=5e-3)
    assert float(p.conductivity) == pytest.approx(0.613, rel=8e-3)  # newer formulations lie 0.5 % lower
    assert float(p.heat_capacity) == pytest.approx(4179, rel=1e-3)
    assert float(p.prandtl) == pytest.approx(5.83, rel=0.01)


def test_coolant_rise_of_the_reference():
    # 200 W at 4 L/min: 0.72 K
    stack = ts.Stack("loop", ts.Die("die", "silicon", "0.7 mm", ("14 mm", "14 mm"), "200 W", ts.Interface("joint", "ceramic paste")),
                     [ts.Layer("plate", "copper", "3 mm", ("40 mm", "40 mm"))],
                     ts.Coolant("25 degC", conductance="30 kW/m^2/K", flow="4 L/min"))  # fmt: skip
    point = ts.predict(stack, solver="one-dimensional").point
    assert float(point.coolant_outlet[0] - point.coolant_inlet[0]) == pytest.approx(0.72, abs=5e-3)
    assert float(point.coolant[0]) == 298.15
