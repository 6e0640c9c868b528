"""What an emulator saves, as ratios within one run: built from few solves, and thousands of samples for one of them."""

import time

import numpy as np

import thermostack as ts
from thermostack.field import model_with_hot_points
from thermostack.operating import operate
from thermostack.propagate import Sampler, variables_of
from thermostack.propagate.emulator import emulator_of
from thermostack.solvers.layered import layered


def part():
    """An invented part: an off-centre die with eight regions."""
    regions = [
        ts.Region(f"core {2 * i + j}", f"{14 + 3 * i - 2 * j} W", corner=(f"{0.9 + 6.2 * j} mm", f"{1 + 3.9 * i} mm"),
                  size=("3.9 mm", "2.8 mm"))
        for i in range(4) for j in range(2)
    ]  # fmt: skip
    die = ts.Die(
        "die", "silicon", "0.72 mm (sd 0.02 mm)", footprint=("12 mm", "17 mm"), centre=("3.1 mm", "-2.3 mm"),
        power=ts.PowerMap("230 W (sd 7 W)", regions=regions),
        joint=ts.Interface("solder", "indium solder", bond_line="0.25 mm (sd 0.04 mm)"),
    )  # fmt: skip
    return ts.Stack(
        "invented part",
        dies=[die],
        layers=[
            ts.Layer("lid", "copper", "2.4 mm (sd 0.1 mm)", footprint=("36 mm", "36 mm")),
            ts.Interface("paste", "ceramic paste"),
            ts.Layer("cold plate", "copper", "3 mm (sd 0.3 mm)", footprint=("50 mm", "50 mm")),
        ],
        coolant=ts.Coolant("26 degC (sd 0.3 K)", conductance="35 kW/m^2/K (x/ 1.2)"),
    )


def test_ten_thousand_samples_on_the_emulator(benchmark):
    model = model_with_hot_points(part(), "layered")
    variables = variables_of(model.inputs.values())
    spent = []

    def timed(graph, arrays):
        start = time.process_time()
        response = layered(graph, arrays)
        spent.append(time.process_time() - start)
        return response

    start = time.process_time()
    emulator = emulator_of(model, variables, solver=timed)
    built = time.process_time() - start
    values = model.values(Sampler(variables, 1).draw(0, 10_000))
    benchmark.extra_info.update(solves=emulator.solves, built_s=round(built, 2), solver_s=round(sum(spent), 2),
                                held_out_percent=round(100 * emulator.held_out, 4))  # fmt: skip
    point = benchmark.pedantic(operate, (model, emulator, values), rounds=3, warmup_rounds=1)
    steps = benchmark.stats.stats.min / sum(spent)
    print(f"built in {built / sum(spent):.2f} times its solves; ten thousand samples take {steps:.2f} of them")
    assert len(variables) >= 14
    assert emulator.held_out <= 1e-3
    # most of the building is the solves; what is around them costs less
    assert built < 2.0 * sum(spent)
    # two steps of ten thousand samples take less than the solves it was trained on
    assert steps < 1.0
    assert np.all(np.isfinite(point.junction_rise))
