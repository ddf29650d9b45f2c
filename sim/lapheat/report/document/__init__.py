"""A run's report, and the outline of every page, each one HTML file that needs nothing else."""

from __future__ import annotations

from .page import report_html
from .template import rendered

__all__ = ["rendered", "report_html"]
