"""Materials and interface classes: the descriptions, the shipped files and how names are found."""

import ast
import csv
import math
import subprocess
import sys
import warnings
from importlib import resources
from pathlib import Path

import numpy as np
import pytest

import thermostack.catalogue as tm
from thermostack.catalogue import InterfaceClass, Material, Range, TemperatureLaw
from thermostack.catalogue.load import _by_name, _Record, all_interfaces, all_materials
from thermostack.errors import FileError, InputError, ThermostackWarning, UnknownNameError

MATERIALS = all_materials()
CLASSES = all_interfaces()
ROWS = [row for c in CLASSES for row in c.rows]


def by_name(entry):
    return entry.name


# --- ranges ---------------------------------------------------------------------------------------------------------


def test_the_lognormal_of_a_range_keeps_its_limits():
    r = Range(2.5, 5.0, 10.0)  # symmetric in the logarithm
    assert r.median * r.factor**-1.96 == pytest.approx(2.5, rel=1e-14)
    assert r.median * r.factor**1.96 == pytest.approx(10.0, rel=1e-14)
    assert r.factor == pytest.approx(math.exp(r.sigma_ln))
    assert Range(3, 3, 3).factor == 1.0
    assert r.scaled(2.0) == Range(5.0, 10.0, 20.0)


@pytest.mark.parametrize(
    ("values", "message"),
    [
        ((2, 1, 3), "do not rise"),
        ((1, 4, 3), "do not rise"),
        ((0, 1, 2), "low: 0.0 is out of range"),
        ((1, math.nan, 2), "typical: nan"),
        ((1, 2, math.inf), "high: inf"),
        ((1, "2", 3), "typical: '2' is not a number"),
        ((1, 2, True), "high: True is not a number"),
        ((1, 2, None), "high: None is not a number"),
    ],
)
def test_a_range_that_cannot_be_is_refused(values, message):
    with pytest.raises(InputError, match=message):
        Range(*values)


# --- temperature law ------------------------------------------------------------------------------------------------


def test_laws_by_hand():
    T = np.array([[250.0, 300.0], [350.0, 400.0]])
    power = TemperatureLaw("power", exponent=-2.0)
    np.testing.assert_allclose(power.relative(T), [[1.44, 1.0], [36 / 49, 0.5625]], rtol=1e-14)
    linear = TemperatureLaw("linear", reference=303.0, slope=0.001)
    np.testing.assert_allclose(linear.relative(T), [[0.947, 0.997], [1.047, 1.097]], rtol=1e-14)
    np.testing.assert_array_equal(TemperatureLaw().relative(T), np.ones((2, 2)))
    assert power.relative(300.0).shape == ()
    assert power.relative([]).shape == (0,)


@pytest.mark.parametrize("temperature", [0.0, -1.0, math.nan, math.inf, [300.0, math.nan]])
def test_a_temperature_that_cannot_be_is_refused(temperature):
    with pytest.raises(InputError, match=r"silicon.temperature: .*0 K"):
        tm.material("silicon").relative(temperature)


def test_a_linear_law_never_turns_negative():
    with pytest.raises(InputError, match=r"silver.temperature: the linear law gives no positive"):
        tm.material("silver").conductivity_at(300.0 + 428 / 0.025 + 1, warn=False)


@pytest.mark.parametrize(
    ("fields", "message"),
    [
        ({"kind": "cubic"}, "'cubic' is no temperature law"),
        ({"kind": "power", "slope": 0.1}, "slope: 0.1 for a power law"),
        ({"kind": "constant", "exponent": 1.0}, "exponent: 1.0 for a constant law"),
        ({"kind": "power", "exponent": math.nan}, "exponent: nan"),
        ({"reference": -1.0}, "reference: -1.0"),
        ({"fit_range": (400.0, 300.0)}, "does not rise"),
    ],
)
def test_a_law_that_cannot_be_is_refused(fields, message):
    with pytest.raises(InputError, match=message):
        TemperatureLaw(**fields)


def test_outside_the_fit_range_a_warning_names_material_and_range():
    silicon = tm.material("silicon")
    for inside in (250.0, 450.0, np.linspace(250, 450, 7), []):
        silicon.conductivity_at(inside)  # warnings are errors here
    message = r"^silicon: .* hold for 250 to 450 K only"
    for call in (silicon.relative, silicon.conductivity_at, silicon.conductivity_in_plane_at):
        for outside in (249.9, [300.0, 450.1]):
            with pytest.warns(ThermostackWarning, match=message) as caught:
                call(outside)
            assert caught[0].filename == __file__  # points at the caller
        call(249.9, warn=False)


def test_python_shows_the_warning_once():
    with warnings.catch_warnings(record=True) as caught:
        warnings.simplefilter("default")
        for T in np.linspace(460.0, 500.0, 5):
            tm.material("silicon").relative(T)
    assert len(caught) == 1


def test_conductivities_at_temperature_scale_the_typical_value():
    sheet = Material.of(
        "sheet", 8.0, conductivity_in_plane=(900.0, 1000.0, 1200.0), law=TemperatureLaw("power", exponent=-1.0)
    )
    np.testing.assert_allclose(sheet.conductivity_at([300.0, 600.0]), [8.0, 4.0])
    np.testing.assert_allclose(sheet.conductivity_in_plane_at([300.0, 600.0]), [1000.0, 500.0])


# --- materials and classes of one's own -----------------------------------------------------------------------------


def test_a_material_of_ones_own():
    mine = Material.of("my paste", (2.0, 4.0, 6.0), density=2500.0, electrical="insulator", max_service=400.0)
    assert mine.conductivity == mine.conductivity_in_plane == Range(2.0, 4.0, 6.0)
    assert not mine.conducts_electricity
    assert mine.provenance == mine.source == "given by the user"
    assert mine.solidus is None
    assert hash(mine) == hash(
        Material.of("my paste", (2.0, 4.0, 6.0), density=2500.0, electrical="insulator", max_service=400.0)
    )


@pytest.mark.parametrize(
    ("fields", "message"),
    [
        ({"conductivity": -4.0}, r"^my paste.conductivity: -4.0"),
        ({"conductivity": (1.0, 2.0)}, r"^my paste.conductivity: .*expected \(low, typical, high\)"),
        ({"conductivity": (3.0, 2.0, 4.0)}, r"^my paste.conductivity: .*do not rise"),
        ({"conductivity": (0.0, 2.0, 4.0)}, r"^my paste.conductivity.low: 0.0"),
        ({"conductivity_in_plane": math.nan}, r"^my paste.conductivity_in_plane: nan"),
        ({"density": 0.0}, r"^my paste.density: 0.0"),
        ({"heat_capacity": math.inf}, r"^my paste.heat_capacity: inf"),
        ({"solidus": 400.0, "liquidus": 399.0}, r"^my paste.solidus: solidus 400 K is above liquidus 399 K"),
        ({"electrical": "y"}, r"^my paste.electrical: 'y' is not known; expected 'conductor' or"),
        ({"aluminium_attack": "yes"}, r"^my paste.aluminium_attack: "),
        ({"source": " "}, r"^my paste.source: no source"),
    ],
)
def test_a_wrong_material_says_which_field(fields, message):
    with pytest.raises(InputError, match=message):
        Material.of("my paste", **{"conductivity": 4.0, **fields})


def test_the_class_itself_wants_ranges_and_a_name():
    fields = {"key": "x", "source": "s", "provenance": "confirmed", "conductivity_in_plane": Range(1, 1, 1)}
    with pytest.raises(InputError, match=r"x.conductivity: 4.0 is no Range.*Material.of"):
        Material(name="x", conductivity=4.0, **fields)
    with pytest.raises(InputError, match="no name"):
        Material(name=" ", conductivity=Range(1, 1, 1), **fields)


def test_a_class_of_ones_own_is_used_wherever_it_stands():
    mine = InterfaceClass.of("my joint", (4e-6, 5e-6, 6e-6), material=tm.material("gallium"), bad_mounts=0.1)
    for place in tm.PLACES:
        row = mine.at(place)
        assert row.resistance == Range(4e-6, 5e-6, 6e-6)
        assert row.assumed == ""
        assert row.attacks_aluminium
    plain = InterfaceClass.of("plain", 5e-6).at("die to lid")
    assert (plain.hazards, plain.solidus, plain.electrical, plain.attacks_aluminium) == ("", None, None, None)
    assert (plain.max_service, plain.conducts_electricity, plain.aluminium_attack) == (None, None, None)


@pytest.mark.parametrize(
    ("fields", "message"),
    [
        ({"resistance": 0.0}, r"^my joint.resistance: 0.0"),
        ({"bond_line": -1e-6}, r"^my joint.bond_line: -1e-06"),
        ({"conductivity": (5.0, 4.0, 6.0)}, r"^my joint.conductivity: .*do not rise"),
        ({"contact_resistance": -1e-9}, r"^my joint.contact_resistance: -1e-09"),
        ({"contact_factor": 0.9}, r"^my joint.contact_factor: 0.9"),
        ({"mount_sigma_ln": math.nan}, r"^my joint.mount_sigma_ln: nan"),
        ({"bad_mounts": 1.0}, r"^my joint.bad_mounts: 1.0"),
        ({"source": ""}, r"^my joint.source: no source"),
    ],
)
def test_a_wrong_class_says_which_field(fields, message):
    with pytest.raises(InputError, match=message):
        InterfaceClass.of("my joint", **{"resistance": 5e-6, **fields})


def test_a_class_needs_rows_of_different_places():
    row = ROWS[0]
    with pytest.raises(InputError, match="no rows"):
        InterfaceClass(name="x", key="x", rows=())
    with pytest.raises(InputError, match="not unique"):
        InterfaceClass(name="x", key="x", rows=(row, row))
    with pytest.raises(InputError, match="2 rows for any place"):
        InterfaceClass(name="x", key="x", rows=tm.interface_class("ceramic paste").rows, any_place=True)


# --- the place of a joint -------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("name", "places"),
    [
        ("indium solder", {"die to lid"}),
        ("factory polymer paste", {"die to lid"}),
        ("gallium alloy", set(tm.PLACES)),
        ("ceramic paste", {"die to plate", "lid to plate"}),
        ("thick paste", {"lid to plate"}),
        ("phase-change pad", {"die to plate", "lid to plate"}),
        ("upright graphite pad", {"lid to plate"}),
        ("graphite sheet", {"lid to plate"}),
        ("pressed indium foil", {"lid to plate"}),
        ("gap pad", {"lid to plate"}),
        ("dry copper contact", {"lid to plate"}),
    ],
)
def test_each_family_has_its_places(name, places):
    family = tm.interface_class(name)
    assert set(family.places) == places
    for place in places:
        row = family.at(place)
        assert row.place == place
        assert row.assumed == ""
        assert row.name == f"{name}, {place}"


@pytest.mark.parametrize(
    ("name", "place", "taken"),
    [
        ("ceramic paste", "die to lid", "die to plate"),  # shares the die
        ("indium solder", "die to plate", "die to lid"),
        ("indium solder", "lid to plate", "die to lid"),
        ("gap pad", "die to lid", "lid to plate"),
        ("phase-change pad", "die to lid", "die to plate"),
    ],
)
def test_a_row_that_stands_in_says_so(name, place, taken):
    row = tm.interface_class(name).at(place)
    assert row.place == taken
    assert row.assumed == f"no values for {name} {place}: those for {taken} are assumed"


def test_a_joint_on_the_cold_plate_is_preferred_for_the_lid():
    c = tm.interface_class("gallium alloy")
    without = InterfaceClass(name="g", key="g", rows=tuple(r for r in c.rows if r.place != "lid to plate"))
    assert without.at("lid to plate").place == "die to plate"


def test_a_row_chosen_by_its_full_name_is_used_whatever_the_place():
    chosen = tm.interface_class("Ceramic paste, die to plate")
    for place in tm.PLACES:
        assert chosen.at(place) == tm.interface_class("ceramic paste").at("die to plate")
    assert tm.interface_class("tim1_bare_die_paste") == chosen
    for row in ROWS:
        assert tm.interface_class(row.name).at("die to lid") == tm.interface_class(row.key).at("lid to plate") == row


def test_an_unknown_place_is_refused():
    with pytest.raises(InputError, match=r"ceramic paste.place: 'die to sky' is no place; expected 'die to lid' or"):
        tm.interface_class("ceramic paste").at("die to sky")


# --- names ----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("name", "key"),
    [
        ("copper", "copper_c110"),
        ("COPPER", "copper_c110"),
        ("copper_c110", "copper_c110"),
        ("gallium alloy", "gainsn"),
        ("liquid  metal", "gainsn"),
        ("vapor chamber", "vapor_chamber"),
        ("FR-4", "fr4"),
    ],
)
def test_materials_are_found_by_name_key_and_alias(name, key):
    assert tm.material(name).key == key


@pytest.mark.parametrize(
    ("name", "key"),
    [
        ("indium solder", "indium_solder"),
        ("solder", "indium_solder"),
        ("liquid metal", "gallium_alloy"),
        ("gap_pad", "gap_pad"),
        ("GAP PAD", "gap_pad"),
    ],
)
def test_classes_are_found_by_name_key_and_alias(name, key):
    assert tm.interface_class(name).key == key


@pytest.mark.parametrize("name", ["coper", "silicone", "cu", "", "aluminium", "nickel", "copper c11"])
def test_no_material_is_guessed(name):
    with pytest.raises(UnknownNameError) as caught:
        tm.material(name)
    assert f"no material is called {name!r}" in str(caught.value)


def test_an_unknown_name_gets_a_suggestion():
    with pytest.raises(UnknownNameError, match=r"'coper'; did you mean 'copper'"):
        tm.material("coper")
    with pytest.raises(
        UnknownNameError, match=r"no interface class is called 'ceramic past'; did you mean 'ceramic paste'"
    ):
        tm.interface_class("ceramic past")
    with pytest.raises(InputError, match="3 is no name of material"):
        tm.material(3)


@pytest.mark.parametrize("entries", [MATERIALS, CLASSES], ids=["materials", "classes"])
def test_every_name_is_unique(entries):
    names = [
        n.casefold() for e in entries for n in {e.name.casefold(), e.key.casefold(), *map(str.casefold, e.aliases)}
    ]
    assert len(names) == len(set(names))


def test_a_name_used_twice_is_an_error():
    with pytest.raises(FileError, match="'solder' is a name of 'a' and of 'b'"):
        _by_name([_named("a", "solder"), _named("b", "Solder")])


def _named(name, alias):
    row = ROWS[0]
    return InterfaceClass(name=name, key=name, rows=(row,), aliases=(alias,))


def test_every_class_names_a_material():
    for c in CLASSES:
        assert c.material is not None
        assert all(row.material == tm.material(c.material) for row in c.rows)


# --- the shipped values ---------------------------------------------------------------------------------------------


def test_nothing_was_left_out():
    assert len(MATERIALS) == 41
    assert len(ROWS) == 14 + 1  # the phase-change row stands for two places
    assert len(tm.effects()) == 13


PLAUSIBLE = {  # through-plane conductivity of the family [W/(m K)], density [kg/m³], heat capacity [J/(kg K)]
    "metal": ((3, 500), (2500, 20000), (100, 1000)),
    "semiconductor": ((50, 500), (2000, 6500), (400, 800)),
    "ceramic": ((20, 60), (3500, 4500), (600, 900)),
    "diamond": ((800, 2300), (3400, 3600), (450, 550)),
    "solder": ((10, 100), (7000, 9000), (150, 260)),
    "liquid metal": ((15, 32), (5900, 6800), (300, 420)),
    "filled polymer": ((0.5, 10), (2000, 4500), (400, 1100)),
    "carbon": ((2, 100), (1000, 2300), (700, 1000)),
    "board": ((0.2, 2), (1500, 2500), (900, 1300)),
    "fluid": ((0.02, 0.7), (1, 1100), (1000, 4300)),
    "composite": ((10, 200), (1000, 9000), (300, 1000)),
}


@pytest.mark.parametrize("m", MATERIALS, ids=by_name)
def test_material_row(m):
    assert m.source
    assert m.provenance in ("confirmed", "computed", "from memory")
    assert m.provenance_detail
    k, density, heat_capacity = PLAUSIBLE[m.family]
    assert k[0] <= m.conductivity.low <= m.conductivity.high <= k[1]
    assert density[0] <= m.density <= density[1]
    assert heat_capacity[0] <= m.heat_capacity <= heat_capacity[1]
    assert 1.0 < m.conductivity.factor < 2.0
    # a layered material conducts along; only the upright pad conducts better across
    assert m.conductivity == m.conductivity_in_plane or m.family in ("carbon", "board", "composite")
    if m.conductivity != m.conductivity_in_plane:
        assert (m.conductivity_in_plane.typical > m.conductivity.typical) == (m.key != "carbon_pad")
    assert m.law.reference == {"gallium": 303.0, "liquid_nitrogen": 77.355}.get(m.key, 300.0)
    # a law that changes has a range, and stays within its melting point unless it is of the liquid
    if m.law.kind == "constant":
        assert m.law.fit_range is None
    else:
        low, high = m.law.fit_range
        assert low <= m.law.reference < high
        assert m.law.fit_error is not None or m.law.fit_note
        assert np.all(m.relative(np.linspace(low, high, 11)) > 0.4)
        if m.family != "liquid metal" and m.solidus is not None and m.family != "fluid":
            assert high < m.solidus
    if m.family in ("metal", "solder"):
        assert m.electrical == "conductor"
        assert m.max_service < m.solidus or m.key == "bi_in_sn"  # the low-melt alloy is meant to be liquid in use
    if "glycol" not in m.name and m.liquidus is not None and m.solidus is not None:
        assert m.solidus <= m.liquidus


def test_which_materials_endanger_aluminium():
    assert {m.key for m in MATERIALS if m.aluminium_attack == "severe"} == {"gallium", "egain", "gainsn"}
    assert {m.key for m in MATERIALS if m.aluminium_attack == "slow"} == {"indium"}
    assert {m.key for m in MATERIALS if m.is_aluminium} == {"aluminium_1050", "aluminium_6061"}
    for m in MATERIALS:
        if m.is_aluminium or m.attacks_aluminium:
            assert "aluminium" in m.hazards or "Al" in m.hazards or "gallium" in m.hazards


@pytest.mark.parametrize("row", ROWS, ids=by_name)
def test_interface_row(row):
    assert row.source
    assert row.provenance == "from memory"  # every resistance here is; the detail says what is better known
    assert row.provenance_detail
    assert row.mount_basis
    assert "assumed" in row.contact_basis
    assert row.contact_factor == 1.5
    assert 0.5e-6 <= row.resistance.low <= row.resistance.high <= 1e-3
    assert 0 < row.contact_resistance <= row.resistance.typical
    assert row.demountable == (row.mount_sigma_ln > 0)
    assert (row.part_sigma_ln is None) == row.demountable
    if row.part_sigma_ln is not None:
        assert row.part_sigma_ln < row.resistance.sigma_ln  # a share of the class spread
    assert row.mount_sigma_ln <= row.resistance.sigma_ln
    assert (row.bad_mounts is not None) == (row.name == "gallium alloy, die to plate")
    assert row.pressure is None or 1e4 < row.pressure[0] <= row.pressure[1] < 2e6
    assert (row.pressure is None) == (row.name in ("indium solder, die to lid", "factory polymer paste, die to lid"))
    if row.bond_line is None:
        assert row.name.startswith("dry copper contact")
        assert row.contact_resistance == row.resistance.typical
        return
    # no joint is better than its thinnest bond line of its best filling
    assert row.resistance.low >= row.bond_line.low / row.conductivity.high
    assert 1e-6 < row.bond_line.low <= row.bond_line.high < 2e-3
    assert row.conductivity.typical <= 1.1 * row.material.conductivity.high


@pytest.mark.parametrize("row", [r for r in ROWS if r.contact_basis.startswith("derived")], ids=by_name)
def test_bond_line_and_contact_make_up_the_resistance(row):
    made_of = row.bond_line.typical / row.conductivity.typical + row.contact_resistance
    printed = 1e-6 * 10.0 ** (math.floor(math.log10(row.contact_resistance * 1e6)) - 3)  # four digits are stored
    assert made_of == pytest.approx(row.resistance.typical, abs=printed / 2 * (1 + 1e-6))


def test_where_the_contact_cannot_be_derived_the_row_says_what_was_taken():
    row = tm.interface_class("thick paste").at("lid to plate")
    assert row.bond_line.typical / row.conductivity.typical == pytest.approx(66.7e-6, abs=0.05e-6)
    assert row.resistance.typical == 45e-6
    assert row.contact_resistance == tm.interface_class("ceramic paste").at("lid to plate").contact_resistance
    assert row.contact_basis.startswith("assumed: that of ceramic paste, lid to plate")
    assert "66.7" in row.contact_basis


def test_mount_scatter_by_kind():
    at = {row.name: row.mount_sigma_ln for row in ROWS}
    assert {at[n] for n in at if n.startswith("gallium alloy")} == {0.25}
    assert {at[n] for n in at if n.startswith(("ceramic paste", "thick paste"))} == {0.10}
    assert {at[n] for n in at if n.startswith(("phase-change", "upright", "graphite sheet", "gap pad"))} == {0.07}
    assert tm.interface_class("gallium alloy").at("die to plate").bad_mounts == Range(0.05, 0.10, 0.15)


def test_units_are_turned_into_si():
    row = tm.interface_class("indium solder").at("die to lid")
    assert row.resistance == Range(2.5e-6, 5e-6, 10e-6)
    assert row.bond_line == Range(150e-6, 300e-6, 400e-6)
    assert row.solidus == pytest.approx(156.6 + 273.15)
    assert row.max_service == pytest.approx(398.15)
    assert tm.interface_class("gap pad").at("lid to plate").pressure == (30e3, 100e3)
    assert tm.material("silicon").law.fit_error == pytest.approx(0.013, rel=1e-14)


DATA = resources.files("thermostack.catalogue").joinpath("data")


@pytest.mark.parametrize(
    "file", ["materials.csv", "silicon_k.csv", "interfaces.csv", "interface_classes.csv", "effects.csv"]
)
def test_no_cell_of_a_data_file_is_blank(file):
    lines = [line for line in DATA.joinpath(file).read_text(encoding="utf-8").splitlines() if not line.startswith("#")]
    rows = list(csv.reader(lines))
    assert all(len(row) == len(rows[0]) for row in rows)
    assert all(cell and cell == cell.strip() for row in rows for cell in row)
    if file != "interface_classes.csv":
        assert all(r[rows[0].index("source")] not in ("", "none", "-") for r in rows[1:])
        assert {r[rows[0].index("provenance")] for r in rows[1:]} <= {"confirmed", "computed", "from memory"}


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda r: r.number("a"), r"x.csv, line 7: 'four' in a"),
        (lambda r: r.needed("b"), r"x.csv, line 7: none in b"),
        (lambda r: r.yes("a"), r"x.csv, line 7: 'four' in a; expected yes or no"),
        (lambda r: r.needed_range("{}"), r"x.csv, line 7: none in"),
    ],
)
def test_a_damaged_file_says_where(call, message):
    record = _Record("x.csv", 7, {"a": "four", "b": "none", "low": "none", "typical": "none", "high": "none"})
    with pytest.raises(FileError, match=message):
        call(record)
    with pytest.raises(FileError, match=r"x.csv, line 8: blank or surplus cell in column a"):
        _Record("x.csv", 8, {"a": " "})


def test_line_numbers_count_the_head_of_the_file():
    from thermostack.catalogue.load import _records

    text = DATA.joinpath("materials.csv").read_text(encoding="utf-8").splitlines()
    for record in _records("materials.csv"):
        number = int(record.where.rsplit(" ", 1)[1])
        assert text[number - 1].startswith(record.cells["key"] + ",")


# --- tables and cost ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("table", [tm.materials(), tm.interfaces(), tm.effects()], ids=lambda t: t.title)
def test_tables_carry_source_and_provenance(table):
    values = table.to_dict()
    assert all(values["source"])
    assert all(values["provenance"])
    assert "<table" in table._repr_html_()
    assert table.title in str(table)


def test_tables_show_the_values_in_their_units():
    rows = tm.interfaces().to_dict()
    i = rows["name"].index("indium solder")
    assert (rows["r_low"][i], rows["r"][i], rows["r_high"][i]) == pytest.approx((2.5, 5.0, 10.0), rel=1e-14)
    assert rows["bond_line"][i] == pytest.approx(300.0, rel=1e-14)
    assert rows["contact"][i] == pytest.approx(0.7143, rel=1e-14)
    values = tm.materials().to_dict()
    i = values["name"].index("indium")
    assert (values["k_low"][i], values["k"][i], values["k_high"][i], values["solidus"][i]) == (75.0, 81.7, 86.0, 156.6)


def test_importing_reads_no_file():
    code = (
        "import sys, thermostack.catalogue.load as load; "
        "assert load.all_materials.cache_info().currsize == 0 and load.all_interfaces.cache_info().currsize == 0; "
        "assert 'pandas' not in sys.modules"
    )
    subprocess.run([sys.executable, "-c", code], check=True, timeout=120)


def test_the_floor_stays_light():
    import thermostack.tables

    folder = Path(str(resources.files("thermostack.catalogue")))
    for path in [*folder.glob("*.py"), Path(thermostack.tables.__file__)]:
        tree = ast.parse(path.read_text(encoding="utf-8"))
        names = {a.name for node in ast.walk(tree) if isinstance(node, ast.Import) for a in node.names}
        names |= {node.module for node in ast.walk(tree) if isinstance(node, ast.ImportFrom)}
        outside = {n for n in names if n.split(".")[0] not in sys.stdlib_module_names}
        allowed = ("numpy", "thermostack.errors", "thermostack.catalogue", "thermostack.tables")
        late = {"pandas"} if path.name == "tables.py" else set()
        assert {n for n in outside if not n.startswith(allowed)} <= late, path.name
