"""A page to publish: written beside the notebook, and offered to be downloaded."""

from __future__ import annotations

import base64
import html
from collections.abc import Callable
from pathlib import Path

import ipywidgets as widgets

from ..errors import InputError
from ..report import Page
from .parts import Alert

__all__ = ["Export"]


class Export:
    """A title, a file and a button that makes the page.

    Made on the kernel's own thread, in a second or two: its pictures are drawn by pyplot, which knows no threads.

    Parameters
    ----------
    what : str
        Such as ``"page of the verdict"``.
    title, file : str
        To begin with.
    make : callable
        From a title to the page.
    alert : Alert
    """

    def __init__(self, what: str, title: str, file: str, make: Callable[[str], Page], alert: Alert) -> None:
        self._what, self._make, self._alert = what, make, alert
        self.title = widgets.Text(
            value=title, description="title", tooltip=f"title of the {what}", continuous_update=False,
            layout={"width": "100%"},
        )  # fmt: skip
        self.file = widgets.Text(
            value=file, description="file, .html or .md", tooltip=f"file of the {what}", continuous_update=False,
            layout={"width": "100%"},
        )  # fmt: skip
        self.replace = widgets.Checkbox(value=False, indent=False, description="replace a file of this name")
        self.button = widgets.Button(description=f"write the {what}", tooltip=f"write the {what}", disabled=True)
        self.button.on_click(lambda _: self._pressed())
        self.link = widgets.HTML()
        self.view = widgets.VBox([self.title, self.file, self.replace, self.button])
        self.path: Path | None = None

    def offer(self, ready: bool) -> None:
        """Let the button be pressed, or not; when that changes, a link to an older page goes away."""
        if self.button.disabled != ready:
            return
        self.button.disabled = not ready
        self.link.value = ""
        self.path = None

    def _pressed(self) -> None:
        with self._alert.guard():
            self.link.value = f'<div role="status" class="tst-status">writing the {html.escape(self._what)} …</div>'
            try:
                self.link.value = self._written()
            except Exception:
                self.link.value = ""
                raise

    def _written(self) -> str:
        """Write the page and return the link to it, with all of it inside: it works from any server."""
        if not self.file.value.strip():
            raise InputError("no file", where=f"file of the {self._what}", expected="such as 'verdict.html'")
        page = self._make(self.title.value)
        self.path = page.write(Path(self.file.value.strip()).expanduser(), overwrite=self.replace.value)
        data = base64.b64encode(page.html.encode("utf-8")).decode("ascii")
        name = html.escape(self.path.with_suffix(".html").name)
        return (
            f'<p>Written: {html.escape(str(self.path))}. <a class="tst-download" download="{name}" '
            f'href="data:text/html;charset=utf-8;base64,{data}" '
            f'aria-label="download the {html.escape(self._what)}, {name}">download {name}</a></p>'
        )
