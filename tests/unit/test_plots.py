"""Pictures: what they show is what was predicted, and it can be read."""

import subprocess
import sys
from itertools import combinations, pairwise

import matplotlib as mpl
import numpy as np
import pytest

mpl.use("Agg")

from matplotlib import pyplot as plt
from matplotlib.cbook import is_math_text
from matplotlib.colors import to_rgba
from matplotlib.contour import ContourSet
from matplotlib.patches import Rectangle
from matplotlib.text import Annotation, Text
from scipy.interpolate import RegularGridInterpolator

import thermostack as ts
from thermostack import plots
from thermostack.operating import TOLERANCE
from thermostack.plots import variants
from thermostack.plots.parts import THINNEST, drawn_height, in_unit
from thermostack.plots.style import FILL, OUTLINE, decimals, fit, look, plain, spaced

SOLVER = "one-dimensional"
HOSTILE = r"_$\frac{1}{0}$ & <b> % # { \alpha $"
EVERY = [
    "cross_section",
    "cross_section of a prediction",
    "profile",
    "breakdown",
    "comparison",
    "sweep",
    "sweep of two",
]


def stack(die="die", solder="solder", name="workstation part, as delivered", plate_at="2 mm"):
    return ts.Stack(
        name,
        dies=[ts.Die(die, "silicon", "0.72 mm", footprint=("12.4 mm", "17.6 mm"), power="230 W",
                     joint=ts.Interface(solder, "indium solder", bond_line="0.25 mm"))],
        layers=[ts.Layer("lid", "copper", "2.4 mm", footprint=("36 mm", "36 mm")),
                ts.Interface("paste", "ceramic paste"),
                ts.Layer("cold plate", "copper", "3 mm", footprint=("50 mm", "50 mm"), centre=(plate_at, "0 mm"))],
        coolant=ts.Coolant("26 degC", conductance="35 kW/m^2/K"))  # fmt: skip


def centred(**names):
    return stack(**names, plate_at="0 mm")


def several():
    cores = [ts.Region("core 0", "20 W", ("1 mm", "1 mm"), ("3 mm", "2 mm")),
             ts.Region("core 1", "20 W", ("6 mm", "1 mm"), ("3.5 mm", "2 mm"))]  # fmt: skip
    void = ts.Patch("void", ("1 mm", "1 mm"), ("2 mm", "2 mm"), "9600 mm^2*K/W")

    def die(name, x, y, power, *joint, **more):
        return ts.Die(name, "silicon", "0.7 mm", ("10 mm", "8 mm"), power, joint, centre=(f"{x} mm", f"{y} mm"), **more)

    def solder(number, **more):
        return ts.Interface(f"solder {number}", "indium solder", bond_line="0.25 mm", **more)

    return ts.Stack(
        "three dies",
        dies=[die("left", -9, -3, ts.PowerMap("90 W", cores), ts.Layer("plating", "nickel plating", "5 um"),
                  solder(0, patches=[void]), mirrored=True),
              die("right", 5, -3, "60 W", solder(1)), die("io", -3, 7, "25 W", solder(2))],
        layers=[ts.Layer("lid", "copper", "2.4 mm", footprint=("44 mm", "30 mm")),
                ts.Interface("paste", "ceramic paste", footprint=("30 mm", "28 mm")),
                ts.Layer("cold plate", "copper", "3 mm", footprint=("56 mm", "50 mm"))],
        coolant=ts.Coolant("26 degC", resistance="0.03 K/W", contains_plate=False, wetted=("40 mm", "40 mm")),
        board=ts.Board("12 K/W", "45 degC"))  # fmt: skip


def predict(described):
    return ts.predict(described, solver=SOLVER)


def draw(kind, ax=None, described=None):
    described = described or centred()
    name = described.dies[0].joint[0].name
    if kind == "cross_section":
        return plots.cross_section(described, ax=ax)
    if kind == "cross_section of a prediction":
        return plots.cross_section(predict(described), ax=ax)
    if kind == "comparison":
        relid = described.replace(name, ts.Interface("liquid metal", "gallium alloy"))
        return plots.comparison(ts.compare(described, relid, solver=SOLVER), ax=ax)
    if kind.startswith("sweep"):
        swept = [f"{name}.bond_line", "50 um", "450 um"]
        second = ["coolant.conductance", "10 kW/m^2/K", "80 kW/m^2/K"] if kind == "sweep of two" else []
        points = 9 if second else 41
        return plots.sweep(ts.sweep(described, *swept, *second, points=points, solver=SOLVER), ax=ax)
    return getattr(plots, kind)(predict(described), ax=ax)


@pytest.fixture(autouse=True)
def _tidy(monkeypatch):
    monkeypatch.setattr(plt, "show", lambda *_, **__: pytest.fail("a picture was shown unasked"))
    yield
    plt.close("all")


def texts(ax):
    return [t for t in ax.findobj(Text) if t.get_text() and t.get_visible()]


def all_text(ax):
    return "\n".join(t.get_text() for t in texts(ax))


def contrast(a, b):
    """Contrast of two colours by WCAG 2.1: 21 for black on white."""

    def luminance(color):
        c = np.array(to_rgba(color)[:3])
        return float(np.where(c <= 0.03928, c / 12.92, ((c + 0.055) / 1.055) ** 2.4) @ [0.2126, 0.7152, 0.0722])

    high, low = sorted([luminance(a), luminance(b)], reverse=True)
    return (high + 0.05) / (low + 0.05)


def unreadable(ax, ground):
    """Texts of less than 4.5:1 on their own ground, the minimum of WCAG 2.1 (1.4.3); those with a stroke excepted."""
    bad = []
    for t in texts(ax):
        box = t.get_bbox_patch()
        behind = box.get_facecolor() if box else ground
        if not t.get_path_effects() and contrast(t.get_color(), behind) < 4.5:
            bad.append(t.get_text())
    return bad


# all pictures -----------------------------------------------------------------------------------------------------


def test_matplotlib_is_imported_only_to_draw():
    code = """
import sys, thermostack as ts, thermostack.plots as plots
die = ts.Die("die", "silicon", "0.7 mm", ("10 mm", "10 mm"), "90 W", ts.Interface("joint", "gallium alloy"))
plate = ts.Layer("plate", "copper", "3 mm", ("40 mm", "40 mm"))
stack = ts.Stack("part", die, [plate], ts.Coolant("26 degC", conductance="35 kW/m^2/K"))
p = ts.predict(stack, solver="one-dimensional")
assert "breakdown" in dir(plots) and "matplotlib" not in sys.modules, "too early"
import matplotlib; matplotlib.use("Agg")
p.plot()
assert "matplotlib.pyplot" in sys.modules
"""
    subprocess.run([sys.executable, "-c", code], check=True)


def test_unknown_picture():
    with pytest.raises(AttributeError, match="no attribute 'pie'"):
        _ = plots.pie


@pytest.mark.parametrize("kind", EVERY)
def test_own_figure(kind):
    ax = draw(kind)
    assert plt.get_fignums() == [ax.figure.number]
    assert type(ax.figure.get_layout_engine()).__name__ == "ConstrainedLayoutEngine"
    assert "workstation part, as delivered" in ax.get_title(loc="left")
    ax.figure.canvas.draw()
    assert unreadable(ax, "white") == []
    inside = ax.figure.bbox.padded(1)
    beyond = {*ax.get_xticklabels(), *ax.get_yticklabels()}  # of which some, not drawn, lie beyond the limits
    for t in set(texts(ax)) - beyond:  # nothing is cut off
        box = t.get_window_extent()
        assert inside.contains(box.x0, box.y0), t.get_text()
        assert inside.contains(box.x1, box.y1), t.get_text()


@pytest.mark.parametrize("kind", EVERY)
def test_own_figure_is_white_in_a_dark_style(kind, tmp_path):
    with plt.style.context("dark_background"):
        ax = draw(kind)
        ax.figure.savefig(tmp_path / "picture.png", dpi=40)
        ax.figure.savefig(tmp_path / "through.png", dpi=40, transparent=True)
    assert unreadable(ax, "white") == []
    marks = [tick.tick1line.get_color() for axis in (ax.xaxis, ax.yaxis) for tick in axis.get_major_ticks()]
    assert all(contrast(color, "white") > 4.5 for color in marks)
    for name in ("picture", "through"):
        picture = plt.imread(tmp_path / f"{name}.png")
        assert np.all(picture[[0, 0, -1, -1], [0, -1, 0, -1]] == 1.0)


@pytest.mark.parametrize("style", ["default", "dark_background"])
@pytest.mark.parametrize("kind", EVERY)
def test_axes_passed_in_are_used_and_not_restyled(kind, style):
    with plt.style.context(style):
        figure, (ax, other) = plt.subplots(1, 2, figsize=(14, 5), layout="constrained")

        def look_of():
            ticks = ax.xaxis.get_major_ticks()[0].label1
            return (figure.get_facecolor(), ax.get_facecolor(), ticks.get_color(), ax.xaxis.label.get_color(),
                    [(s.get_visible(), s.get_edgecolor()) for s in ax.spines.values()],
                    figure.get_size_inches().tolist(), type(figure.get_layout_engine()))  # fmt: skip

        before = look_of()
        rc = dict(mpl.rcParams)
        assert draw(kind, ax) is ax
        figure.canvas.draw()
        assert look_of() == before
        assert dict(mpl.rcParams) == rc
        assert figure.axes == [ax, other]
        assert not other.has_data()
        assert plt.get_fignums() == [figure.number]
        assert unreadable(ax, ax.get_facecolor()) == []


def test_ink_follows_the_axes_not_the_style():
    _, ax = plt.subplots()
    with plt.style.context("dark_background"):
        plots.breakdown(predict(centred()), ax=ax)
        assert unreadable(ax, "white") == []


@pytest.mark.parametrize("kind", EVERY)
def test_hostile_names(kind):
    part = HOSTILE + "\nlong name " * 20
    ax = draw(kind, described=centred(die="$die$", solder=part, name=part))
    ax.figure.canvas.draw()  # mathematics would raise here
    assert not any(is_math_text(t.get_text()) for t in texts(ax))
    assert r"\$\frac{1}{0}\$" in all_text(ax)
    assert max(len(line) for t in texts(ax) for line in t.get_text().splitlines()) < 120


@pytest.mark.parametrize("kind", EVERY)
def test_narrow_axes(kind):
    figure, ax = plt.subplots(figsize=(3.2, 2.4), layout="constrained")
    draw(kind, ax)
    figure.canvas.draw()


# breakdown --------------------------------------------------------------------------------------------------------


def bars(ax):
    """Rectangles of bars by their height on the axis."""
    found = {}
    for container in ax.containers:
        for bar in container:
            found.setdefault(round(bar.get_y() + bar.get_height() / 2), []).append(bar)
    return found


def test_breakdown_bars_are_the_rows():
    p = predict(centred())
    ax = plots.breakdown(p)
    table = p.breakdown.to_dict()
    found = bars(ax)
    assert sorted(found) == list(range(len(p.breakdown.rows) - 1))
    assert [t.get_text() for t in ax.get_yticklabels()] == table["part"][:-1]
    for row, pair in found.items():
        straight, spreading = pair
        assert straight.get_width() + spreading.get_width() == pytest.approx(table["drop_K"][row], rel=1e-12)
        assert straight.get_width() == pytest.approx(230 * table["one_dimensional_K_per_W"][row], rel=1e-12)
        assert spreading.get_x() == straight.get_width()
        assert straight.get_hatch() != spreading.get_hatch()
        assert to_rgba(straight.get_facecolor()) != to_rgba(spreading.get_facecolor())
        assert f"{table['drop_K'][row]:.2f} K  ({table['resistance_K_per_W'][row]:.4f} K/W)" in all_text(ax)
    rise = sum(bar.get_width() for pair in found.values() for bar in pair)
    assert rise == pytest.approx(float(p.mean.magnitude) - 26, rel=1e-9)
    assert "[K]" in ax.get_xlabel()
    assert f"{rise:.1f} K at 230 W" in ax.get_xlabel()
    assert {t.get_text().strip() for t in ax.get_legend().get_texts()} == {"one-dimensional", "spreading"}


def test_negative_spreading_is_drawn_back_and_thinner(monkeypatch):
    from thermostack.plots import bars as module

    monkeypatch.setattr(module, "rows_of", lambda _: [("die", 5.0, 1.0), ("lid", 4.0, -1.5)])
    ax = plots.breakdown(predict(centred()))
    straight, back = bars(ax)[1]
    assert straight.get_width() == 4.0
    assert back.get_x() == 4.0
    assert back.get_width() == -1.5
    assert back.get_height() < straight.get_height() / 2
    note = next(t for t in ax.findobj(Annotation) if t.get_text().startswith("2.50 K"))
    assert note.xy[0] == 4.0  # clear of the bar


# comparison -------------------------------------------------------------------------------------------------------


def comparison():
    solder = centred()
    relid = solder.replace("solder", ts.Interface("liquid metal", "gallium alloy")).named("relid")
    bare = relid.without("lid", "paste").named("bare die")
    return ts.compare(solder, relid, bare, solver=SOLVER)


def test_comparison_adds_up_to_the_junction():
    c = comparison()
    ax = plots.comparison(c)
    found = bars(ax)
    assert [t.get_text().replace("\n", " ") for t in ax.get_yticklabels()] == [p.stack.label for p in c.predictions]
    assert list(ax.get_yticks()) == [0, -1, -2]
    for row, p in enumerate(c.predictions):
        segments = found[-row]
        assert len(segments) == len(p.breakdown.rows) - 1 + 1  # the row of the sum, and the hottest point
        assert segments[0].get_x() == pytest.approx(26, rel=1e-12)
        for below, above in pairwise(segments):
            assert above.get_x() == pytest.approx(below.get_x() + below.get_width(), rel=1e-12)
        junction = float(p.junction.magnitude)
        assert sum(s.get_width() for s in segments) == pytest.approx(junction - 26, rel=1e-9)
        assert segments[-1].get_width() == pytest.approx(junction - float(p.mean.magnitude), rel=1e-9)
        assert f"junction {junction:.1f} °C" in all_text(ax)
    lower = float(c.baseline.junction.magnitude - c.predictions[2].junction.magnitude)
    assert f"({lower:.1f} K lower)" in all_text(ax)
    assert "coolant 26.0 °C" in all_text(ax)
    assert "[°C]" in ax.get_xlabel()


def test_comparison_looks_differ_and_stay_with_their_part():
    ax = plots.comparison(comparison())
    names = [t.get_text().strip() for t in ax.get_legend().get_texts()]
    assert names == ["coolant", "cold plate", "paste", "lid", "liquid metal", "solder", "die", variants.HOTTEST]
    keys = dict(zip(names, ax.get_legend().get_patches(), strict=True))
    looks = {(key.get_facecolor(), key.get_hatch()) for key in keys.values()}
    assert len(looks) == len(names)
    interfaces = [keys[name].get_hatch() for name in ("paste", "liquid metal", "solder")]
    assert len(set(interfaces)) == 3
    bare = bars(ax)[-2]
    assert [(b.get_facecolor(), b.get_hatch()) for b in bare] == [
        (keys[n].get_facecolor(), keys[n].get_hatch())
        for n in ("coolant", "cold plate", "liquid metal", "die", variants.HOTTEST)
    ]


def test_comparison_of_different_coolants_says_so():
    warm = centred().change("coolant.temperature", "30 degC")
    ax = plots.comparison(ts.compare(centred(), warm, solver=SOLVER))
    assert [round(bars(ax)[row][0].get_x(), 9) for row in (0, -1)] == [26, 30]
    assert "each from its own coolant" in all_text(ax)
    assert "K higher)" in all_text(ax)


def test_comparison_of_a_negative_drop(monkeypatch):
    drops = [(("coolant", "coolant"), 5.0), (("die", "die"), 6.0), (("hottest", variants.HOTTEST), -2.0)]
    monkeypatch.setattr(variants, "_segments", lambda _: drops)
    ax = plots.comparison(comparison())
    back = bars(ax)[0][-1]
    assert (back.get_x(), back.get_width()) == (37.0, -2.0)
    assert back.get_height() < bars(ax)[0][0].get_height() / 2
    assert "−2.0" in all_text(ax)
    note = next(t for t in ax.findobj(Annotation) if t.get_text().startswith("junction"))
    assert note.xy[0] == 37.0


# profile ----------------------------------------------------------------------------------------------------------


def test_profile_follows_the_breakdown():
    p = predict(centred())
    ax = plots.profile(p)
    table = p.breakdown.to_dict()
    line = ax.get_lines()[[len(one.get_xdata()) > 2 for one in ax.get_lines()].index(True)]
    temperatures, heights = np.reshape(line.get_xdata(), (-1, 2)), np.reshape(line.get_ydata(), (-1, 2))
    np.testing.assert_allclose(temperatures[:, 0], table["below_degC"][:-1], rtol=1e-12)
    np.testing.assert_allclose(temperatures[:, 1], table["above_degC"][:-1], rtol=1e-12)
    assert np.all(np.diff(heights, axis=1) > 0)
    assert np.diff(heights, axis=1).min() > 0.4 * np.diff(heights, axis=1).max()  # a bond line can be seen
    names = [t.get_text().splitlines()[0] for t in ax.get_yticklabels()]
    assert names == table["part"][:-1]
    assert np.all((ax.get_yticks() > heights[:, 0]) & (ax.get_yticks() < heights[:, 1]))
    (diamond,) = (one for one in ax.get_lines() if one.get_marker() == "D")
    assert diamond.get_xdata()[0] == pytest.approx(float(p.junction.magnitude), rel=1e-12)
    assert diamond.get_ydata()[0] == heights[0, 0]
    assert "not to scale" in ax.get_ylabel()
    assert "[°C]" in ax.get_xlabel()
    for written in ("250 µm", "2.4 mm", "mm²·K/W", f"junction {p.junction.magnitude:.1f} °C"):
        assert written in all_text(ax)


# cross-section ----------------------------------------------------------------------------------------------------


def spans(ax, color):
    """Edges along x [mm] of rectangles of this fill, from left to right."""
    found = [r for r in ax.patches if isinstance(r, Rectangle) and to_rgba(r.get_facecolor()) == to_rgba(color)]
    return sorted((round(r.get_x(), 6), round(r.get_x() + r.get_width(), 6)) for r in found)


def test_cross_section_widths_are_to_scale():
    ax = plots.cross_section(stack())
    assert spans(ax, FILL["die"]) == [(-6.2, 6.2)]
    assert spans(ax, FILL["solid"]) == [(-23, 27), (-18, 18)]
    assert spans(ax, FILL["interface"]) == [(-18, 18), (-6.2, 6.2)]
    assert spans(ax, FILL["coolant"]) == [(-23, 27)]
    assert ax.get_xlabel() == "x [mm], to scale"
    assert "not to scale" in ax.get_ylabel()
    for written in ("copper, 2.4 mm", "indium solder, 250 µm", "ceramic paste, 12 mm²·K/W",
                    "26 °C at the inlet, 35 kW/m²/K",
                    "silicon, 0.72 mm; 230 W"):  # fmt: skip
        assert written in all_text(ax)


def test_cross_section_lies_one_on_another():
    ax = plots.cross_section(stack())
    edges = sorted((r.get_y(), r.get_y() + r.get_height()) for r in ax.patches if isinstance(r, Rectangle))
    assert edges[0][0] == 0
    for (_, top), (bottom, _) in pairwise(edges):
        assert bottom == pytest.approx(top, abs=1e-12)
    heights = [top - bottom for bottom, top in edges]
    assert min(heights) >= THINNEST * max(heights) - 1e-12


def test_cross_section_of_several_dies():
    ax = plots.cross_section(several())
    assert spans(ax, FILL["die"]) == [(-14, -4), (0, 10)]  # the third lies behind
    assert spans(ax, (*to_rgba(FILL["die"])[:3], 0.35)) == [(-8, 2)]
    assert spans(ax, FILL["board"]) == [(-28, 28)]
    assert spans(ax, FILL["coolant"]) == [(-20, 20)]
    # mirrored: corners count from the right edge, at -4 mm
    assert spans(ax, OUTLINE) == [(-13.5, -10), (-8, -5)]
    assert (-13, -11) in spans(ax, "white")  # the void, from the lower left of its joint
    assert (-15, 15) in spans(ax, FILL["interface"])  # the paste has a footprint of its own
    dashed = [r for r in ax.patches if isinstance(r, Rectangle) and not r.get_fill()]
    assert [(round(r.get_x(), 6), round(r.get_x() + r.get_width(), 6)) for r in dashed] == [(-8, 2)] * 2
    written = all_text(ax)
    for text in (
        "io (behind)",
        "9600 mm²·K/W",
        "2 regions, 40 W",
        "12 K/W, 45 °C",
        "175 W together",
        "electroplated nickel, 5 µm",
    ):
        assert text in written
    arrows = [t for t in ax.findobj(Annotation) if t.arrow_patch is not None]
    assert len(arrows) == 3 + 3  # coolant, and a board path for each die


def test_cross_section_of_a_prediction_writes_drops():
    p = predict(centred())
    written = all_text(plots.cross_section(p))
    table = p.breakdown.to_dict()
    for drop in table["drop_K"][:-1]:
        assert f"drop {drop:.1f} K" in written
    assert "drop" not in all_text(plots.cross_section(centred()))


@pytest.mark.parametrize("size", [None, (14, 5), (5, 3)])
@pytest.mark.parametrize("make", [stack, several])
def test_labels_do_not_overlap(make, size):
    ax = None if size is None else plt.subplots(figsize=size, layout="constrained")[1]
    ax = plots.cross_section(make(), ax=ax)
    ax.figure.canvas.draw()
    labels = [t for t in ax.texts if "\n" in t.get_text() and not t.get_bbox_patch()]
    assert len(labels) >= 6
    boxes = [t.get_window_extent() for t in labels]
    for a, b in combinations(boxes, 2):
        assert min(a.y1, b.y1) - max(a.y0, b.y0) < 1.5  # of ten to twenty pixels a line
    assert max(box.x1 for box in boxes) <= ax.figure.bbox.x1


# sweep ------------------------------------------------------------------------------------------------------------


def marked(ax):
    return {
        one.get_marker(): (one.get_xdata()[0], one.get_ydata()[0])
        for one in ax.get_lines()
        if len(one.get_xdata()) == 1
    }


def test_sweep_marks_what_is_described():
    swept = ts.sweep(centred(), "solder.bond_line", "50 um", "450 um", points=41, solver=SOLVER)
    ax = plots.sweep(swept)
    p = predict(centred())
    x, junction = marked(ax)["o"]
    assert x == pytest.approx(250, rel=1e-12)
    settled = TOLERANCE * (float(p.junction.magnitude) - 26)  # a sweep and a single answer may stop a step apart
    assert junction == pytest.approx(float(p.junction.magnitude), abs=settled)
    assert marked(ax)["s"][1] == pytest.approx(float(p.mean.magnitude), abs=settled)
    upper, lower = (one for one in ax.get_lines() if len(one.get_xdata()) == 41)
    np.testing.assert_array_equal(upper.get_ydata(), swept.junction)
    np.testing.assert_array_equal(lower.get_ydata(), swept.mean)
    assert upper.get_linestyle() != lower.get_linestyle()
    assert ax.get_xlabel() == "solder.bond_line [µm]"
    assert ax.get_ylabel() == "temperature [°C]"
    assert ax.get_xscale() == "linear"
    for written in ("as described: 250 µm", "junction (hottest point)", "die mean"):
        assert written in all_text(ax)


def test_sweep_on_a_logarithmic_axis():
    swept = ts.sweep(centred(), "coolant.conductance", "5 kW/m^2/K", "100 kW/m^2/K",
                     points=7, scale="logarithmic", solver=SOLVER)  # fmt: skip
    ax = plots.sweep(swept)
    ax.figure.canvas.draw()
    assert ax.get_xscale() == "log"
    x, y = marked(ax)["o"]
    assert x == pytest.approx(35)
    # the marker lies on the line as drawn: straight between points on the logarithmic axis
    known = swept.axes[0].shown
    i = int(np.searchsorted(known, 35))
    share = np.log(35 / known[i - 1]) / np.log(known[i] / known[i - 1])
    assert y == pytest.approx(swept.junction[i - 1] + share * (swept.junction[i] - swept.junction[i - 1]), rel=1e-12)
    shown = {t.get_text() for t in ax.get_xticklabels()}
    assert {"5", "10", "20", "50", "100"} <= shown


def test_sweep_that_leaves_out_what_is_described():
    ax = plots.sweep(ts.sweep(centred(), "solder.bond_line", "100 um", "10 um", points=5, solver=SOLVER))
    assert marked(ax) == {}
    assert "as described: 250 µm, outside the sweep" in all_text(ax)


def test_sweep_of_what_was_not_described_marks_nothing():
    ax = plots.sweep(ts.sweep(centred(), "paste.bond_line", "10 um", "100 um", points=5, solver=SOLVER))
    assert marked(ax) == {}
    assert "described" not in all_text(ax)


def test_sweep_of_two_inputs():
    swept = ts.sweep(centred(), "solder.bond_line", "50 um", "450 um",
                     "coolant.conductance", "10 kW/m^2/K", "80 kW/m^2/K",
                     points=(9, 15), scale=("linear", "logarithmic"), solver=SOLVER)  # fmt: skip
    ax = plots.sweep(swept)
    ax.figure.canvas.draw()
    assert (ax.get_xscale(), ax.get_yscale()) == ("linear", "log")
    assert ax.get_xlabel() == "solder.bond_line [µm]"
    assert ax.get_ylabel() == "coolant.conductance [kW/m²/K]"
    assert marked(ax)["o"] == pytest.approx((250, 35))
    levels = [float(t.get_text().removesuffix(" °C")) for t in ax.texts if t.get_text().endswith(" °C")]
    assert len(set(levels)) >= 4
    # some vertices lie beyond the edge by rounding: bounds are left open
    at = RegularGridInterpolator([a.shown for a in swept.axes], swept.junction, bounds_error=False, fill_value=None)
    (lines,) = (c for c in ax.collections if isinstance(c, ContourSet) and not c.filled)
    checked = 0
    for level, path in zip(lines.levels, lines.get_paths(), strict=True):
        for place in path.vertices:
            # contours cross the edges of cells where the values at their ends, joined straight, say so
            if any(np.min(np.abs(axis.shown / x - 1)) < 1e-9 for axis, x in zip(swept.axes, place, strict=True)):
                assert at([place])[0] == pytest.approx(level, rel=1e-9)
                checked += 1
    assert checked > 50
    assert set(levels) <= set(lines.levels)


def test_sweep_of_two_that_changes_nothing():
    swept = ts.sweep(centred(), "solder.bond_line", "250 um", "250.1 um", "lid.thickness", "2.4 mm", "2.4001 mm",
                     points=3, solver=SOLVER)  # fmt: skip
    assert "all over" in all_text(plots.sweep(swept))


# style ------------------------------------------------------------------------------------------------------------


def test_outlines_and_numbers_can_be_seen_on_every_fill():
    for role in FILL:
        for index in range(5):
            assert contrast(look(role, index).fill, OUTLINE) >= 3.0  # WCAG 2.1 (1.4.11), graphical objects
    for role in ("interface", "solid"):
        assert len({look(role, index).hatch for index in range(5)}) == 5


@pytest.mark.parametrize(
    ("text", "limit", "right"),
    [
        ("a  b\n\tc", None, "a b c"),
        ("$x$", None, r"\$x\$"),
        ("abcdef", 4, "abc…"),
        ("abcd", 4, "abcd"),
        ("a\x00b", None, "a b"),
    ],
)
def test_plain(text, limit, right):
    assert plain(text, limit) == right


def test_fit():
    assert fit("cold plate of copper", 12) == "cold plate\nof copper"
    assert fit("one two three four five six", 8, 1) == "one …"
    assert all(len(line) <= 9 for line in fit("x" * 100, 9, 2).splitlines())


@pytest.mark.parametrize(("value", "text"), [(-2.04, "−2.0"), (-0.04, "0.0"), (3.25, "3.2"), (12.0, "12.0")])
def test_decimals(value, text):
    assert decimals(value, 1) == text


@pytest.mark.parametrize(
    ("wanted", "right"),
    [([0.5], [0.5]), ([2.0, 8.0], [2.0, 8.0]), ([5.0, 5.0], [4.5, 5.5]), ([0.0, 0.1, 9.0], [0.0, 1.0, 9.0]),
     ([9.9, 9.9, 9.9], [8.0, 9.0, 10.0])],
)  # fmt: skip
def test_spaced(wanted, right):
    np.testing.assert_allclose(spaced(np.array(wanted), 1.0, 0.0, 10.0), right, atol=1e-9)


def test_spaced_without_room():
    np.testing.assert_allclose(spaced(np.full(5, 3.0), 10.0, 0.0, 8.0), [0, 2, 4, 6, 8])


def test_drawn_heights_keep_the_order():
    described = several()
    from thermostack.model import model_of

    values = model_of(described).values()
    drawn = {
        name: drawn_height(described, described.part(name), values)
        for name in ("cold plate", "lid", "left", "plating", "paste")
    }
    assert drawn["cold plate"] == 1.0
    assert drawn["cold plate"] > drawn["lid"] > drawn["left"] > drawn["plating"] == drawn["paste"] == THINNEST


@pytest.mark.parametrize(
    ("si", "dimension", "text"),
    [(2.4e-3, "length", "2.4 mm"), (5e-6, "length", "5 µm"), (9.6e-3, "specific resistance", "9600 mm²·K/W"),
     (299.15, "temperature", "26 °C")],
)  # fmt: skip
def test_in_unit(si, dimension, text):
    assert in_unit(si, dimension) == text
