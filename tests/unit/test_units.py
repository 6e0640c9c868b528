"""The boundary for units: every form parsed, kept and round-tripped; everything else refused with a right value."""

import math

import numpy as np
import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st

from thermostack.errors import InputError, UnitError
from thermostack.units import DIMENSIONS, Value, convert, parse, quantity, show

FORMS = [
    # text, dimension, SI centre, kind, SI spread
    ("0.25 mm", "length", 0.25e-3, "exact", 0.0),
    ("45 um", "bond line", 45e-6, "exact", 0.0),
    ("45 µm", "bond line", 45e-6, "exact", 0.0),
    ("0.25 mm (sd 0.04 mm)", "length", 0.25e-3, "normal", 0.04e-3),
    ("0.25 mm (sd 40 um)", "length", 0.25e-3, "normal", 0.04e-3),
    ("0.25 mm (sd 0.04)", "length", 0.25e-3, "normal", 0.04e-3),
    ("0.25(4) mm", "length", 0.25e-3, "normal", 0.04e-3),
    ("12(3) mm", "length", 12e-3, "normal", 3e-3),
    ("1.5(2)e-3 m", "length", 1.5e-3, "normal", 0.2e-3),
    ("0.25 ± 0.04 mm", "length", 0.25e-3, "normal", 0.04e-3),
    ("0.25 mm ± 40 um", "length", 0.25e-3, "normal", 0.04e-3),
    ("0.25 +/- 0.04 mm", "length", 0.25e-3, "normal", 0.04e-3),
    ("0.25 mm (limits 0.04 mm)", "length", 0.25e-3, "rectangular", 0.04e-3),
    ("25 .. 60 um", "bond line", 42.5e-6, "rectangular", 17.5e-6),
    ("25um..60um", "bond line", 42.5e-6, "rectangular", 17.5e-6),
    ("0.02 mm .. 60 um", "bond line", 40e-6, "rectangular", 20e-6),
    ("5 mm^2*K/W (x/ 1.4)", "specific resistance", 5e-6, "lognormal", 1.4),
    ("5 mm²·K/W (×/÷ 1.4)", "specific resistance", 5e-6, "lognormal", 1.4),
    ("26 degC", "temperature", 299.15, "exact", 0.0),
    ("26 °C", "temperature", 299.15, "exact", 0.0),
    ("299.15 K", "temperature", 299.15, "exact", 0.0),
    ("78.8 degF", "temperature", 299.15, "exact", 0.0),
    ("−5 degC", "temperature", 268.15, "exact", 0.0),
    ("26 degC (sd 0.3 K)", "temperature", 299.15, "normal", 0.3),
    ("26 degC (sd 0.3 degC)", "temperature", 299.15, "normal", 0.3),
    ("24 .. 28 degC", "temperature", 299.15, "rectangular", 2.0),
    ("24 degC .. 301.15 K", "temperature", 299.15, "rectangular", 2.0),
    ("75.2 degF .. 28 degC", "temperature", 299.15, "rectangular", 2.0),
    ("0.25000(4) mm", "length", 0.25e-3, "normal", 4e-8),
    ("0.25000(4)e-3 m", "length", 0.25e-3, "normal", 4e-8),
    ("0.5 K", "temperature difference", 0.5, "exact", 0.0),
    ("0.5 degC", "temperature difference", 0.5, "exact", 0.0),
    ("0.2 degC/W", "resistance", 0.2, "exact", 0.0),
    ("35 kW/m^2/K", "conductance", 35e3, "exact", 0.0),
    ("3.5 W/cm^2/K", "conductance", 35e3, "exact", 0.0),
    ("390 W/m/K", "conductivity", 390.0, "exact", 0.0),
    ("3.9 W/(cm K)", "conductivity", 390.0, "exact", 0.0),
    ("10 %", "fraction", 0.1, "exact", 0.0),
    ("0.1", "fraction", 0.1, "exact", 0.0),
    (0.1, "fraction", 0.1, "exact", 0.0),
    ((45, "um"), "bond line", 45e-6, "exact", 0.0),
    ((26, "degC"), "temperature", 299.15, "exact", 0.0),
]


@pytest.mark.parametrize(("given_", "dimension", "si", "kind", "spread"), FORMS, ids=lambda x: str(x))
def test_every_form_means_what_it_says(given_, dimension, si, kind, spread):
    value = parse(given_, dimension)
    assert value.si == pytest.approx(si, rel=1e-12)
    assert value.kind == kind
    assert value.spread_si == pytest.approx(spread, rel=1e-12)
    assert parse(str(value), dimension) == value, "its text reads back as itself"


def test_quantities_of_the_application_registry_are_taken():
    ureg = pint.get_application_registry()
    assert parse(ureg.Quantity(45, "um"), "bond line").si == pytest.approx(45e-6)
    assert parse(ureg.Quantity(26, "degC"), "temperature").si == pytest.approx(299.15)
    assert quantity(299.15, "temperature").units == ureg.degC


def test_the_sd_form_is_echoed_for_all_three_ways_to_write_it():
    for text in ("0.25 mm (sd 0.04 mm)", "0.25(4) mm", "0.25 ± 0.04 mm"):
        assert str(parse(text, "length")) == "0.25 mm (sd 0.04 mm)"


def test_one_value_in_two_units_is_one_value():
    a, b = parse("0.25 mm (sd 0.04 mm)", "length"), parse("250 um (sd 40 um)", "length")
    assert a == b
    assert hash(a) == hash(b)
    assert a != parse("0.25 mm", "length")
    assert parse("2.4 mm", "length") != parse("2.4 mm", "bond line")


def test_standard_uncertainties():
    # JCGM 100:2008, 4.3.7: limits a to either side of the middle, u = a/√3
    assert parse("10 mm (limits 3 mm)", "length").standard_uncertainty == pytest.approx(3e-3 / math.sqrt(3))
    assert parse("10 mm (sd 3 mm)", "length").standard_uncertainty == pytest.approx(3e-3)
    # standard deviation of a lognormal, against samples
    value = parse("5 mm (x/ 1.4)", "length")
    samples = value.si * 1.4 ** np.random.default_rng(1).standard_normal(400_000)
    assert value.standard_uncertainty == pytest.approx(samples.std(), rel=0.01)


REFUSED = [
    (0.25, "length", UnitError, "0.25 has no unit; expected for example '0.25 mm'"),
    ("0.25", "length", UnitError, "'0.25' has no unit"),
    (26, "temperature", UnitError, "expected for example '26 degC'"),
    ("0.25 kg", "length", UnitError, "'kg' is not a unit of length; expected for example '0.25 mm'"),
    ("26 C", "temperature", UnitError, "expected for example '26 degC'"),
    ("390 W/mK", "conductivity", UnitError, "expected for example '390 W/m/K'"),
    ("5 florps", "length", UnitError, "'florps' is not understood"),
    ("1 mm (sd 1 W)", "length", UnitError, "does not fit the unit"),
    ("nan mm", "length", InputError, "not a finite number"),
    ("inf mm", "length", InputError, "not a finite number"),
    ((math.inf, "mm"), "length", InputError, "not a finite number"),
    ("60 .. 25 um", "bond line", InputError, "the lower first: '25 .. 60 um'"),
    ("25 .. 25 um", "bond line", InputError, "reversed or equal"),
    ("0 mm (x/ 2)", "length", InputError, "a median above zero"),
    ("5 mm (x/ 0.9)", "length", InputError, "a factor above 1"),
    ("5 mm (sd 0 mm)", "length", InputError, "a spread above zero"),
    ("5 mm (sd -1 mm)", "length", InputError, "a spread above zero"),
    ("five mm", "length", InputError, "cannot read 'five mm'; expected a value such as '0.25 mm'"),
    ("", "length", InputError, "cannot read ''"),
    (True, "fraction", InputError, "True is not a number"),
    (None, "length", InputError, "cannot read None"),
    ([1, 2, 3], "length", InputError, "cannot read"),
]


@pytest.mark.parametrize(("given_", "dimension", "error", "text"), REFUSED, ids=lambda x: str(x))
def test_what_is_refused_and_how(given_, dimension, error, text):
    with pytest.raises(error) as caught:
        parse(given_, dimension, "lid.thickness")
    assert str(caught.value).startswith("lid.thickness: ")
    assert text in str(caught.value)


magnitudes = st.floats(1e-6, 1e6).map(lambda x: float(f"{x:.9g}"))


@given(
    magnitude=magnitudes,
    kind=st.sampled_from(["exact", "normal", "rectangular", "lognormal"]),
    spread=st.floats(1e-3, 0.9).map(lambda x: float(f"{x:.6g}")),
    dimension=st.sampled_from([d for d in DIMENSIONS if d not in ("temperature", "fraction")]),
)
def test_text_reads_back_as_the_same_value(magnitude, kind, spread, dimension):
    width = {"exact": 0.0, "lognormal": 1 + spread}.get(kind, float(f"{spread * magnitude:.9g}"))
    value = Value(magnitude, DIMENSIONS[dimension].shown_in, dimension, kind, width)
    again = parse(str(value), dimension)
    assert again.kind == kind
    assert again.si == pytest.approx(value.si, rel=1e-11)
    assert again.spread_si == pytest.approx(value.spread_si, rel=1e-9, abs=1e-300)


@given(st.text(max_size=20), st.sampled_from(list(DIMENSIONS)))
def test_any_text_gives_a_value_or_a_clear_error(text, dimension):
    try:
        value = parse(text, dimension)
    except InputError as error:
        said = str(error)
        value = None
    assert "expected" in said if value is None else math.isfinite(value.si)


def test_showing():
    assert show(2.4e-3, "length") == "2.4 mm"
    assert show(299.15, "temperature") == "26 °C"
    assert show(1.2e-5, "specific resistance") == "12 mm²·K/W"
    assert convert(np.array([300.0, 310.0]), "temperature") == pytest.approx([26.85, 36.85])
