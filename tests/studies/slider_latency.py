"""How long it takes from a key press to a changed picture, in a real browser, beside a full matplotlib redraw.

    python tests/studies/slider_latency.py            # measures and writes results/slider_latency.json

A JupyterLab and a headless Chromium on this machine; a stack panel on the invented workstation part, with the layered
solver at work (its emulator for the quick answer, the solver itself after every pause), and a slider of the same input
that redraws section, profile and breakdown by matplotlib into one image. Thirty presses one at a time; then five seconds
of dragging, and the time from the last mouse move until the last value is on the screen.
"""

import importlib.util
import json
import os
import shutil
import statistics
import sys
import tempfile
import time
from pathlib import Path

import nbformat
from nbformat.v4 import new_code_cell, new_notebook

HERE = Path(__file__).parent
PRESSES, MOVES = 30, 100
PANEL = """
import time
from thermostack import notebook
bench = notebook.Bench("../examples/workstation.toml")
panel = notebook.StackPanel(bench)
panel
"""
MATPLOTLIB = """
import io
import ipywidgets as widgets
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from thermostack import plots
image = widgets.HTML()
import base64
def redraw(change):
    prediction = bench.quick(1).at({"liquid metal.bond_line": 1e-6 * change["new"]})
    figure = Figure(figsize=(9.6, 3.2), dpi=96, layout="constrained")
    canvas = FigureCanvasAgg(figure)
    for draw, ax in zip((plots.cross_section, plots.profile, plots.breakdown), figure.subplots(1, 3)):
        draw(prediction, ax=ax)
    data = io.BytesIO()
    figure.savefig(data, format="png")
    image.value = f'<img class="redrawn" alt="" src="data:image/png;base64,{base64.b64encode(data.getvalue()).decode()}">'
other = widgets.FloatSlider(value=30, min=10, max=150, step=1, description="redrawn")
other.observe(redraw, "value")
redraw({"new": 30})
widgets.VBox([other, image])
"""
UPDATES = """
took, processor = [], []
move = panel.sliders["liquid metal.bond_line"]
for which, slider in (("bond line", panel.sliders["liquid metal.bond_line"]), ("power", panel.sliders["die.power"])):
    now = slider.value
    for i in range(40):
        start, begun = time.perf_counter(), time.thread_time()
        slider.value = now * (1 + 0.004 * (i + 1))
        took.append(1e3 * (time.perf_counter() - start))
        processor.append(1e3 * (time.thread_time() - begun))
    slider.value = now
print(*(sorted(each)[int(share * len(each))] for each in (took, processor) for share in (0.5, 0.95)))
"""
WATCH = """([handle, target]) => {
  const log = window.__log = {down: [], change: [], paint: [], move: []};
  handle.addEventListener('keydown', () => log.down.push(performance.now()), true);
  document.addEventListener('mousemove', () => log.move.push(performance.now()), true);
  new MutationObserver(() => {
    const at = performance.now();
    log.change.push([at, target.innerText + (target.querySelector('svg')?.getAttribute('aria-label') ?? '')]);
    requestAnimationFrame(() => requestAnimationFrame(() => log.paint.push(performance.now())));
  }).observe(target, {childList: true, subtree: true, attributes: true});
}"""


def harness():
    spec = importlib.util.spec_from_file_location("browser", HERE.parent / "notebook" / "conftest.py")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def presses(page, handle, target):
    """Return milliseconds from key down to change, and to the frame after it."""
    page.evaluate(WATCH, [handle.element_handle(), target.element_handle()])
    change, paint = [], []
    handle.focus()
    for _ in range(PRESSES):
        before = page.evaluate("() => __log.change.length")
        page.keyboard.press("ArrowRight")
        page.wait_for_function("n => __log.change.length > n && __log.paint.length > n", arg=before)
        down = page.evaluate("() => __log.down.at(-1)")
        change.append(page.evaluate("n => __log.change[n][0]", before) - down)
        paint.append(page.evaluate("n => __log.paint[n]", before) - down)
        page.wait_for_timeout(120)
    return change, paint


def drag(page, handle, target):
    """Return pictures within five seconds of dragging, and milliseconds from the last move to the last change."""
    page.wait_for_timeout(1500)
    page.evaluate("() => { __log.change.length = 0; __log.paint.length = 0; }")
    handle.scroll_into_view_if_needed()
    box = handle.bounding_box()
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    page.mouse.move(x, y)
    page.mouse.down()
    start = time.time()
    for i in range(MOVES):
        page.mouse.move(x - 60 + 0.9 * i, y)
        time.sleep(max(0.0, start + 5.0 * (i + 1) / MOVES - time.time()))
    readout = handle.locator("xpath=ancestor::*[contains(@class,'widget-inline-hbox')][1]").locator(".widget-readout")
    last = readout.inner_text()
    page.wait_for_timeout(1500)
    page.mouse.up()
    log = page.evaluate("() => __log")
    moved = log["move"][-1]
    shown = [at for at, text in log["change"] if f"{float(last):.3g} µm" in text] or [at for at, _ in log["change"]]
    return len([1 for at, _ in log["change"] if at < moved]), min(at for at in shown if at > moved - 200) - moved, last


def summary(values):
    ordered = sorted(values)
    return {"median_ms": round(statistics.median(ordered), 1), "p95_ms": round(ordered[int(0.95 * len(ordered))], 1)}


def main(results):
    """Measure, print and store."""
    from playwright.sync_api import sync_playwright

    browser = harness()
    folder = Path(tempfile.mkdtemp())
    lab = browser.Lab(folder)
    kernel = {"kernelspec": {"display_name": "Python 3", "language": "python", "name": "python3"}}
    notebook = new_notebook(metadata=kernel, cells=[new_code_cell(text.strip()) for text in (PANEL, MATPLOTLIB)])
    nbformat.write(notebook, lab.root / "notebooks" / "latency.ipynb")
    updates = new_notebook(metadata=kernel, cells=[new_code_cell(PANEL.strip()), new_code_cell("while not bench.quick(0).ready or not "
                           "bench.quick(1).ready: [quick.prepare() for quick in map(bench.quick, (0, 1))]"),
                           new_code_cell(UPDATES.strip())])  # fmt: skip
    nbformat.write(updates, lab.root / "notebooks" / "updates.ipynb")
    found = {"cores": os.cpu_count(), "load_before": round(os.getloadavg()[0], 1)}
    try:
        with sync_playwright() as playwright:
            chromium = playwright.chromium.launch(
                executable_path=shutil.which("chromium"), headless=True, args=browser.FLAGS
            )
            page = chromium.new_page(viewport={"width": 1280, "height": 1400})
            start = time.time()
            lab.run(page, "latency")
            slider = page.locator(".tst [role=slider][aria-label='liquid metal, bond line [µm]']")
            slider.wait_for()
            found["first_interaction_s"] = round(time.time() - start, 1)
            page.locator(".tst-status[data-ready='1'][data-settled='1']").wait_for(timeout=120000)
            page.wait_for_timeout(1000)
            picture = page.locator(".tst svg[role=img]").first.locator("xpath=..")
            change, paint = presses(page, slider, picture)
            found["panel"] = {"change": summary(change), "paint": summary(paint)}
            pictures, settle, _ = drag(page, slider, picture)
            found["panel"] |= {"pictures_in_drag": pictures, "settle_ms": round(settle, 1)}
            other = page.locator(".widget-slider:has(.widget-label:text('redrawn')) [role=slider]")
            image = page.locator("img.redrawn").locator("xpath=..")
            change, paint = presses(page, other, image)
            found["matplotlib"] = {"change": summary(change), "paint": summary(paint)}
            lab.shut(page, "latency")
            page.close()
            page = chromium.new_page()
            lab.run(page, "updates")
            text = page.locator(".jp-OutputArea-output pre").last.inner_text()
            wall, wall_95, own, own_95 = (round(float(each), 1) for each in text.split())
            found["python"] = {"median_ms": wall, "p95_ms": wall_95}
            found["python_processor_time"] = {"median_ms": own, "p95_ms": own_95}
            chromium.close()
    finally:
        lab.close()
        shutil.rmtree(folder, ignore_errors=True)
    print(json.dumps(found, indent=2))
    results.write_text(json.dumps(found, indent=2) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main(Path(sys.argv[1]) if len(sys.argv) > 1 else HERE / "results" / "slider_latency.json")
