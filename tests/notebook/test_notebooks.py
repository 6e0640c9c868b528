"""The notebooks: nothing but prose and code is kept in them, and each runs from top to bottom: here, or in a browser."""

import ast
import shutil
from pathlib import Path

import pytest

NOTEBOOKS = Path(__file__).parents[2] / "notebooks"
FILES = sorted(NOTEBOOKS.glob("*.ipynb"))
JOBS = [path for path in FILES if path.name[0].isdigit()]
IN_BROWSER = [
    path for path in FILES if f'"{path.stem}"' in Path(__file__).with_name("test_browser.py").read_text("utf-8")
]
"""Run as a whole there, where a cell that fails is an error; here too, where there is no browser."""
HERE = FILES if not shutil.which("chromium") else [path for path in FILES if path not in IN_BROWSER]


@pytest.fixture(scope="module")
def nbformat():
    """Return the library; loaded only where it is asked, since that takes seconds."""
    return pytest.importorskip("nbformat")


def test_there_are_some():
    assert {"start.ipynb", "app.ipynb"} < {path.name for path in FILES}
    assert len(JOBS) >= 4


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_no_outputs_are_kept(nbformat, path):
    notebook = nbformat.read(path, 4)
    nbformat.validate(notebook)
    for cell in notebook.cells:
        assert not cell.get("outputs")
        assert cell.get("execution_count") is None
        assert cell.metadata == {}
    assert set(notebook.metadata) == {"kernelspec", "language_info"}
    assert set(notebook.metadata.language_info) == {"name"}


@pytest.mark.parametrize("path", JOBS, ids=lambda path: path.stem)
def test_each_job_closes_with_an_assertion_on_a_number(nbformat, path):
    code = [cell.source for cell in nbformat.read(path, 4).cells if cell.cell_type == "code"]
    asserted = [node for node in ast.walk(ast.parse(code[-1])) if isinstance(node, ast.Assert)]
    assert any(isinstance(n, ast.Constant) and isinstance(n.value, float | int) for a in asserted for n in ast.walk(a))


@pytest.mark.parametrize("path", JOBS, ids=lambda path: path.stem)
def test_the_start_page_leads_to_each_job(nbformat, path):
    assert f"]({path.name})" in nbformat.read(NOTEBOOKS / "start.ipynb", 4).cells[0].source


def test_some_run_in_a_browser():
    assert len(IN_BROWSER) == 4


@pytest.mark.parametrize("path", HERE, ids=lambda path: path.stem)
@pytest.mark.filterwarnings("default")
def test_it_runs_from_top_to_bottom(nbformat, path, monkeypatch):
    monkeypatch.delenv("MPLBACKEND", raising=False)  # a notebook chooses its own, which shows pictures
    client = pytest.importorskip("nbclient")
    notebook = nbformat.read(path, 4)
    resources = {"metadata": {"path": str(NOTEBOOKS)}}
    client.NotebookClient(notebook, timeout=180, resources=resources).execute()
    for cell in notebook.cells:
        if cell.cell_type == "code" and ".plot(" in cell.source:
            assert any("image/png" in output.get("data", {}) for output in cell.outputs), cell.source
    views = notebook.metadata.get("widgets", {}).get("application/vnd.jupyter.widget-state+json", {}).get("state", {})
    texts = [view["state"].get("value", "") for view in views.values()]
    assert not any(isinstance(text, str) and 'role="alert"' in text for text in texts)
