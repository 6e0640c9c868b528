"""A JupyterLab (or voila) and a headless Chromium, shared by all browser tests; one notebook a page."""

import json
import os
import re
import secrets
import shutil
import socket
import subprocess
import sys
import time
import urllib.request
from contextlib import suppress
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
FLAGS = [
    "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking",
    "--disable-component-update", "--disable-sync",
]  # fmt: skip
FIND = """window.__nb = p => { const a = window.jupyterapp;
  return a && Array.from(a.shell.widgets('main')).find(w => w.context && w.context.path === p) || null };
window.__idle = p => { const k = __nb(p)?.sessionContext.session?.kernel;
  return !!k && k.connectionStatus === 'connected' && k.status === 'idle' };"""
ICONS = re.compile(r"font-?awesome")
"""voila asks a network for two style sheets of icons; without one only the icons are missing."""


def environment(folder):
    """Return the environment of a server that shares nothing with the user's own."""
    env = {k: v for k, v in os.environ.items() if not k.startswith(("JUPYTER", "IPYTHON"))}
    names = dict(JUPYTER_CONFIG_DIR="config", JUPYTER_DATA_DIR="data", JUPYTER_RUNTIME_DIR="run", HOME="home",
                 JUPYTERLAB_SETTINGS_DIR="settings", JUPYTERLAB_WORKSPACES_DIR="ws", IPYTHONDIR="ipython",
                 MPLCONFIGDIR="mpl")  # fmt: skip
    for variable, name in names.items():
        (folder / name).mkdir(exist_ok=True)
        env[variable] = str(folder / name)
    env["JUPYTER_PREFER_ENV_PATH"] = "1"
    settings = {
        "@jupyterlab/apputils-extension/notification": {"fetchNews": "false", "checkForUpdates": False},
        "@jupyterlab/docmanager-extension/plugin": {"autosave": False},
    }
    for name, values in settings.items():
        file = folder / "settings" / f"{name}.jupyterlab-settings"
        file.parent.mkdir(parents=True, exist_ok=True)
        file.write_text(json.dumps(values), encoding="utf-8")
    return env


def free_port():
    with socket.socket() as s:
        s.bind(("127.0.0.1", 0))
        return s.getsockname()[1]


def wait_for(url, process, log):
    end = time.time() + 60
    while True:
        try:
            urllib.request.urlopen(url, timeout=2).close()
            return
        except OSError:
            if process.poll() is not None or time.time() > end:
                process.kill()
                raise RuntimeError(log.read_text(errors="replace")[-3000:]) from None
            time.sleep(0.1)


class Lab:
    """A JupyterLab on a copy of the notebooks and examples."""

    def __init__(self, folder):
        self.folder, self.token = folder, secrets.token_hex(16)
        self.root = folder / "tree"
        self.root.mkdir()
        for name in ("notebooks", "examples"):
            shutil.copytree(
                ROOT / name, self.root / name, ignore=shutil.ignore_patterns("figures", ".ipynb_checkpoints")
            )
        port = free_port()
        self.base = f"http://127.0.0.1:{port}"
        log = folder / "server.log"
        with log.open("wb") as out:
            self.process = subprocess.Popen(
                [sys.executable, "-m", "jupyterlab", "--no-browser", "--allow-root", "--ServerApp.ip=127.0.0.1",
                 f"--ServerApp.port={port}", "--ServerApp.port_retries=0", f"--IdentityProvider.token={self.token}",
                 f"--ServerApp.root_dir={self.root}", "--expose-app-in-browser", "--LabApp.extension_manager=readonly",
                 "--LabApp.news_url=None", "--LabApp.check_for_updates_class=jupyterlab.NeverCheckForUpdate"],
                env=environment(folder), cwd=self.root, stdin=subprocess.DEVNULL, stdout=out, stderr=subprocess.STDOUT,
            )  # fmt: skip
        wait_for(f"{self.base}/api/status?token={self.token}", self.process, log)

    def close(self):
        with suppress(OSError):
            urllib.request.urlopen(f"{self.base}/api/shutdown?token={self.token}", data=b"", timeout=5).close()
        end(self.process)

    def open(self, page, name):
        """Open a notebook and wait until its kernel is idle."""
        notebook = f"notebooks/{name}.ipynb"
        page.add_init_script(FIND)
        page.goto(f"{self.base}/lab/tree/{notebook}?reset&token={self.token}")
        page.wait_for_function("() => !!window.jupyterapp", timeout=60000)
        page.evaluate("() => jupyterapp.restored")
        page.wait_for_function("p => !!__nb(p)", arg=notebook)
        page.evaluate(
            "async p => { const w = __nb(p); await w.context.ready; await w.sessionContext.ready; await w.revealed; "
            "jupyterapp.shell.activateById(w.id) }", notebook,
        )  # fmt: skip
        page.wait_for_function("p => __idle(p)", arg=notebook, timeout=60000)

    def run(self, page, name, theme="JupyterLab Light"):
        """Open a notebook and run all of it; a cell that fails is an error."""
        self.open(page, name)
        page.evaluate("theme => jupyterapp.commands.execute('apputils:change-theme', { theme })", theme)
        page.wait_for_function("theme => document.body.dataset.jpThemeName === theme", arg=theme)
        assert page.evaluate("() => jupyterapp.commands.execute('notebook:run-all-cells')") is True

    def shut(self, page, name):
        """Shut the kernel of a notebook down."""
        page.evaluate("async p => { await __nb(p)?.sessionContext.shutdown() }", f"notebooks/{name}.ipynb")


def end(process):
    try:
        process.wait(15)
    except subprocess.TimeoutExpired:
        process.terminate()
        try:
            process.wait(5)
        except subprocess.TimeoutExpired:
            process.kill()


@pytest.fixture(scope="module")
def chromium():
    """Return a browser; the tests that need one are skipped where it or playwright is not installed.

    Of a module and not of the session: as long as it is there, an event loop counts as running on this thread.
    """
    sync_api = pytest.importorskip("playwright.sync_api")
    path = shutil.which("chromium") or shutil.which("chromium-browser")
    if path is None:
        pytest.skip("no chromium on this machine")
    with sync_api.sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=path, headless=True, args=FLAGS)
        yield browser
        browser.close()


@pytest.fixture(scope="session")
def lab(tmp_path_factory):
    """Return a JupyterLab."""
    made = Lab(tmp_path_factory.mktemp("lab"))
    yield made
    made.close()


@pytest.fixture(scope="session")
def voila(tmp_path_factory):
    """Return the address of the app."""
    folder = tmp_path_factory.mktemp("voila")
    port = free_port()
    log = folder / "server.log"
    with log.open("wb") as out:
        process = subprocess.Popen(
            [sys.executable, "-m", "voila", str(ROOT / "notebooks" / "app.ipynb"), "--no-browser", "--Voila.ip=127.0.0.1",
             f"--port={port}"],
            env=environment(folder), cwd=folder, stdin=subprocess.DEVNULL, stdout=out,
            stderr=subprocess.STDOUT,
        )  # fmt: skip
    wait_for(f"http://127.0.0.1:{port}/voila/static/favicon.ico", process, log)
    yield f"http://127.0.0.1:{port}"
    process.terminate()
    end(process)


@pytest.fixture
def page(chromium):
    """Return a page; whatever goes wrong in it fails the test."""
    context = chromium.new_context(viewport={"width": 1280, "height": 1000})
    made = context.new_page()
    bad = []
    made.on("console", lambda m: m.type == "error" and bad.append(m.text))
    made.on("pageerror", lambda e: bad.append(str(e)))
    made.on("requestfailed", lambda r: bad.append(r.url))
    made.on("response", lambda r: r.status >= 400 and bad.append(f"{r.status} {r.url}"))
    yield made
    context.close()
    left = [text for text in bad if not ICONS.search(text) and "net::ERR" not in text]
    assert left == []
