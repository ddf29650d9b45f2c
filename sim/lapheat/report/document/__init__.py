"""The report of a run as one HTML file that needs nothing else."""

from __future__ import annotations

from .page import report_html

__all__ = ["report_html"]
