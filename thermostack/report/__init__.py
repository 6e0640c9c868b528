"""The page to publish: results as one HTML file that needs nothing else, or as Markdown."""

from .making import page
from .page import Page

__all__ = ["Page", "page"]
