"""The README's example runs as it is written."""

import re
from pathlib import Path

import matplotlib
import pytest

ROOT = Path(__file__).parents[2]
CODE = re.findall(r"```python\n(.*?)```", (ROOT / "README.md").read_text(encoding="utf-8"), re.S)


def test_the_readme_has_one_example():
    assert len(CODE) == 1


@pytest.mark.filterwarnings("ignore::thermostack.ThermostackWarning")
def test_the_readme_example_runs(tmp_path, monkeypatch):
    matplotlib.use("Agg")
    code = CODE[0].replace('"examples/', f'"{ROOT.as_posix()}/examples/')
    monkeypatch.chdir(tmp_path)
    found: dict[str, object] = {}
    exec(compile(code, "README.md", "exec"), found)
    assert (tmp_path / "relid.html").stat().st_size > 50_000
    assert found["result"].verdict.p < 0.05  # the invented drop is larger than the described relid brings


def test_the_readme_names_files_that_exist():
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    for name in re.findall(r"`(?:examples/)?([a-z_]+\.py)`", text):
        assert (ROOT / "examples" / name).exists(), name
