"""Any stack and any mods make the round trip through a text; any text gives a stack or an error of ours."""

import string

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from thermostack.catalogue import InterfaceClass, Material, Range, TemperatureLaw
from thermostack.errors import FileError, InputError
from thermostack.stack.cooling import ChannelPlate, JetPlate, Radiator
from thermostack.stack.files import from_toml, to_toml
from thermostack.stack.lines import Lines
from thermostack.stack.parts import Board, Coolant, Die, Interface, Layer, Leakage, Patch, PowerMap, Region, Sensor
from thermostack.stack.paths import paths
from thermostack.stack.stack import Stack

QUICK = settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow])

characters = st.characters(exclude_categories=["Cs"], exclude_characters=".") | st.sampled_from("\"'\\[]{}#=,\n\t µ")
text = st.text(characters, min_size=1, max_size=8).map(str.strip).filter(bool)
maybe = lambda strategy: st.none() | strategy  # noqa: E731


@st.composite
def values(draw, unit, low=0.01, high=20.0):
    """A value with a unit, as a text or a pair, exact or uncertain."""
    number = st.floats(low, high) | st.integers(1, 2000).map(lambda n: low + (high - low) * n / 2000)
    middle = draw(number)
    match draw(st.integers(0, 5)):
        case 0:
            return (middle, unit)
        case 1:
            return f"{middle!r} {unit} (sd {draw(st.floats(1e-6, 1)) * middle!r} {unit})"
        case 2:
            return f"{middle!r} {unit} (x/ {draw(st.floats(1.001, 3))!r})"
        case 3:
            return f"{middle!r} {unit} (limits {draw(st.floats(1e-6, 0.99)) * middle!r} {unit})"
        case 4:
            other = draw(number)
            a, b = sorted((middle, other))
            return f"{a!r} .. {b!r} {unit}" if b > a * 1.001 else f"{a!r} {unit}"
        case _:
            return f"{middle:.4g} {unit}"


length, micro = values("mm"), values("um", 0.01, 900)
specific = values("mm^2*K/W", 0.01, 300)
pair = st.tuples(length, length)
place = st.tuples(st.integers(-9, 9).map(lambda n: f"{n / 4:g} mm"), st.sampled_from(["0 mm", "0 um"]) | length)
leakages = st.builds(
    Leakage,
    values("W"),
    values("degC", 40, 90),
    st.sampled_from(["55 K", "55 kelvin", "40 .. 70 K"]),
    st.just("linear"),
)
plates = st.builds(
    ChannelPlate, length, micro, length, split=st.booleans(), along=st.sampled_from("xy"), factor=maybe(st.just(0.7)),
    fin_conductivity=maybe(values("W/m/K"))) | st.builds(JetPlate, length, length, length)  # fmt: skip
radiators = st.builds(Radiator, resistance=values("K/W"), pump_heat=maybe(values("W"))) | st.builds(
    Radiator, conductance=values("W/K"), air_flow=values("m^3/h"))  # fmt: skip
liquids = st.sampled_from(["water", "Water-Glycol  50 %"])
names = st.shared(st.lists(text, min_size=40, max_size=40, unique_by=lambda n: n.casefold()).filter(
    lambda n: not {"coolant", "board"} & set(n)), key="names")  # fmt: skip
ranges = st.builds(lambda m, a, b: Range(m * a, m, m * b), st.floats(0.1, 9), st.floats(0.1, 1), st.floats(1, 9)) | (
    st.builds(lambda m, f: (m / f, m, m * f), st.floats(0.1, 9), st.floats(1.01, 3))
)
own_materials = st.builds(
    Material.of, text.map(lambda t: f"my {t}"), ranges, conductivity_in_plane=maybe(ranges),
    density=maybe(st.floats(1, 2e4)), max_service=maybe(st.floats(200, 900)), hazards=st.just("") | text,
    law=st.just(None) | st.builds(lambda e, r: TemperatureLaw("power", r, e), st.floats(-2, -0.1), st.floats(200, 400)),
)  # fmt: skip
own_classes = st.builds(
    lambda n, r, **more: InterfaceClass.of(n, r, **more), text.map(lambda t: f"my {t}"),
    ranges.map(lambda r: (r if isinstance(r, Range) else Range(*r)).scaled(1e-5)),
    bond_line=maybe(st.floats(1e-6, 1e-4)), mount_sigma_ln=st.floats(0, 0.5),
    contact_resistance=st.floats(0, 1e-5), demountable=st.booleans(),
)  # fmt: skip


class Maker:
    """Draws parts, each under a name that no other has."""

    def __init__(self, draw):
        self.draw = draw
        self.names = list(draw(names))
        self.material = st.sampled_from(["copper", "silicon", "nickel plating", draw(own_materials)])
        self.interface = st.sampled_from(["ceramic paste", "gallium alloy", draw(own_classes)])

    def make(self, kind, *given, **optional):
        fields = {k: self.draw(s) for k, s in optional.items() if self.draw(st.booleans())}
        return kind(
            self.names.pop(), *(self.draw(s) if isinstance(s, st.SearchStrategy) else s for s in given), **fields
        )

    def some(self, make, most=2):
        return [make() for _ in range(self.draw(st.integers(0, most)))]

    def layer(self):
        return self.make(Layer, self.material, length, footprint=pair, centre=place, conductivity=values("W/m/K"),
                         conductivity_in_plane=values("W/m/K"))  # fmt: skip

    def interface_(self):
        patches = st.just(self.some(lambda: self.make(Patch, pair, pair, specific), 1))
        more = {"void_fraction": st.just(0.05) | st.just("5 %"), "footprint": pair, "centre": place, "patches": patches,
                "mount": text}  # fmt: skip
        match self.draw(st.integers(0, 2)):
            case 0:
                return self.make(Interface, self.interface, **more)
            case 1:
                fields = {"resistance": self.draw(specific)}
            case _:
                fields = {"conductivity": self.draw(values("W/m/K")), "contact": "0 mm^2*K/W"}
                if self.draw(st.booleans()):
                    fields |= {"bond_line": self.draw(micro)}
                else:
                    fields |= {"pressure": self.draw(values("kPa")), "yield_stress": self.draw(values("Pa"))}
                more |= {"gap": micro, "bow": micro | st.sampled_from(["-30 um", "-5 um (sd 9 um)"])}
        return self.make(lambda name, **others: Interface(name, **fields, **others), **more)

    def element(self):
        return self.layer() if self.draw(st.booleans()) else self.interface_()

    def power(self):
        regions = self.some(lambda: self.make(Region, values("W"), pair, pair))
        return PowerMap(self.draw(values("W", 60, 300)), regions)

    def die(self):
        return self.make(Die, self.material, length, pair, st.just(self.power()), st.just(self.some(self.element)),
                         centre=place, mirrored=st.booleans(), conductivity=values("W/m/K"),
                         leakage=leakages)  # fmt: skip

    def coolant(self):
        temperature = self.draw(st.sampled_from(["26 degC", "300 K (sd 1 K)", "20 .. 30 degC", "70 degF (sd 1 K)"]))
        fields = {
            "wetted": self.draw(maybe(pair)),
            "reference": self.draw(st.sampled_from(["inlet", "mean", "ambient"])),
        }
        match self.draw(st.integers(0, 4)):
            case 0:
                return Coolant(temperature, conductance=self.draw(values("kW/m^2/K")), **fields)
            case 1:
                whole = self.draw(st.booleans())
                return Coolant(temperature, resistance=self.draw(values("K/W")), contains_plate=whole, **fields)
            case 2:
                return Coolant(temperature, model=self.draw(st.sampled_from(["water block", "air tower"])), **fields)
            case 3:
                fields |= {"model": self.draw(plates), "reference": self.draw(st.sampled_from(["inlet", "mean"]))}
            case _:
                fields |= {"model": self.draw(plates), "reference": "ambient", "radiator": self.draw(radiators)}
        return Coolant(temperature, flow=self.draw(values("L/min")), fluid=self.draw(maybe(liquids)), **fields)

    def stack(self):
        first = self.die()
        dies = [first, *self.some(self.die, 1)]
        sensors = self.some(lambda: self.make(Sensor, first.name, point=place, offset=values("K"), step=values("K")), 1)
        return Stack(self.draw(text), dies, self.some(self.element, 4), self.coolant(),
                     self.draw(maybe(st.builds(Board, values("K/W")))), sensors)  # fmt: skip

    def mod(self, stack):
        """Return the stack after one mod of any kind, or as it is where the one drawn cannot be."""
        parts = list(stack.parts())
        part = self.draw(st.sampled_from(parts))
        verb = self.draw(st.sampled_from(["replace", "without", "insert_after", "change", "remounted"]))
        try:
            if verb == "replace":
                new = {Die: self.die, Coolant: self.coolant}.get(type(part), self.element)()
                return stack.replace(part.name, new)
            if verb == "without":
                several = self.draw(
                    st.lists(st.sampled_from(parts), min_size=1, max_size=2, unique_by=lambda p: p.name)
                )
                return stack.without(*(p.name for p in several))
            if verb == "insert_after":
                return stack.insert_after(part.name, self.element())
            if verb == "change":
                path = self.draw(st.sampled_from(list(paths(stack))))
                return stack.change(path, self.draw(values("mm") | values("W") | values("mm^2*K/W") | st.just(0.05)))
            return stack.remounted(self.draw(st.just("") | st.just(part.name)))
        except InputError:
            return stack


@st.composite
def families(draw):
    """A part, and variants that start from it or from one another."""
    maker = Maker(draw)
    family = [maker.stack()]
    for number in range(draw(st.integers(0, 3))):
        variant = draw(st.sampled_from(family))
        before = len(variant.edits)
        for _ in range(draw(st.integers(1, 3))):
            variant = maker.mod(variant) if len(maker.names) > 12 else variant
        if len(variant.edits) > before:
            family.append(variant.named(f"{number} {draw(text)}"))
    return family


@QUICK
@given(families())
def test_stacks_and_mods_make_the_round_trip(family):
    written = to_toml(*family)
    read = from_toml(written)
    assert list(read) == family
    assert [s.edits for s in read] == [s.edits for s in family]
    assert [s.label for s in read] == [s.label for s in family]
    for one, other in zip(read, family, strict=True):
        assert [getattr(p, "mount", "") for p in one.parts()] == [getattr(p, "mount", "") for p in other.parts()]
    assert to_toml(*read) == written


@QUICK
@given(families())
def test_a_variant_alone_keeps_its_parts(family):
    (read,) = from_toml(to_toml(family[-1])) if family[-1].dies else (family[-1],)
    assert (read, read.label) == (family[-1], family[-1].label)


WORDS = ["[[die]]", "[[mod]]", "[layer]", "without", "=", '"', "'''", "[", "}", "\n", "#", "\\", "nan", "-1", "1e400",
         "true", '"26 degC"', "{ }", "[[]]", '"lid"', "name", "1979-05-27", "step", "9" * 400, "power.region", "%",
         "\x00", "mm"]  # fmt: skip


VALUES = ["3", "-0.5", "nan", "true", "[]", "[1, 2]", "{}", "[{}]", '""', '"x"', "00:00:00", '["a", {}]', "9" * 400,
          '"1e999 mm"', '"-3 mm"', '[["1 mm"], ["2 mm"]]']  # fmt: skip


@st.composite
def mutated(draw):
    """The text of a file with a few places cut, doubled or overwritten."""
    changed = to_toml(*draw(families()))
    for _ in range(draw(st.integers(1, 4))):
        start = draw(st.integers(0, len(changed)))
        end = min(len(changed), start + draw(st.integers(0, 30)))
        new = draw(st.sampled_from(WORDS) | st.text(string.printable, max_size=4) | st.just(changed[start:end] * 2))
        changed = changed[:start] + new + changed[end:]
    return changed


@st.composite
def swapped_values(draw):
    """The text of a file in which the value of one key is another's, or of another type: still TOML."""
    lines = to_toml(*draw(families())).split("\n")
    keyed = [n for n, line in enumerate(lines) if " = " in line and "{" not in line and not line.endswith("[")]
    n = draw(st.sampled_from(keyed))
    other = lines[draw(st.sampled_from(keyed))].partition(" = ")[2]
    value = draw(st.sampled_from([*VALUES, other]))
    key = lines[n].partition(" = ")[0]
    lines[n] = f"{draw(st.sampled_from([key, 'mount', 'name', 'patch', 'joint', 'power', 'law']))} = {value}"
    return "\n".join(lines)


@QUICK
@given(mutated() | swapped_values())
def test_a_damaged_file_gives_a_stack_or_an_error_that_names_the_file(damaged):
    said = ""
    try:
        from_toml(damaged, "part.toml")
    except FileError as error:  # any other exception fails the test
        said = error.where
    assert said == "" or said.startswith("part.toml")


@QUICK
@given(st.lists(st.sampled_from(WORDS) | st.text(string.printable, max_size=6)).map("".join), st.lists(text))
def test_the_locator_never_fails(any_text, place):
    lines = Lines(any_text)
    assert 1 <= lines.find(tuple(place)) <= any_text.count("\n") + 1
    assert all(isinstance(key, str | int) for key in lines.keys(()))
