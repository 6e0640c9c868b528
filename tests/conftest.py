"""Stacks that many tests use. All of them are invented."""

import pytest

import thermostack as ts


def make_soldered(**changes):
    """An invented soldered part under a water block."""
    die = ts.Die(
        "die",
        "silicon",
        "0.72 mm",
        footprint=("12.4 mm", "17.6 mm"),
        power=changes.pop("power", "230 W"),
        joint=changes.pop("joint", ts.Interface("solder", "indium solder", bond_line="0.25 mm (sd 0.04 mm)")),
        **changes,
    )
    return ts.Stack(
        "workstation part",
        dies=[die],
        layers=[
            ts.Layer("lid", "copper", "2.4 mm", footprint=("36 mm", "36 mm")),
            ts.Interface("paste", "ceramic paste"),
            ts.Layer("cold plate", "copper", "3 mm", footprint=("50 mm", "50 mm")),
        ],
        coolant=ts.Coolant("26 degC", conductance="35 kW/m^2/K"),
    )


@pytest.fixture
def make():
    """Return the maker of the soldered part, for parts that differ in a detail of the die."""
    return make_soldered


@pytest.fixture
def soldered():
    """Return the soldered part."""
    return make_soldered()


@pytest.fixture
def relid(soldered):
    """Return the part with liquid metal under its lid."""
    return soldered.replace("solder", ts.Interface("liquid metal", "gallium alloy"))


@pytest.fixture
def bare(relid):
    """Return the part with the cold plate on the bare die."""
    return relid.without("lid", "paste")
