"""The bench sheet: one page to pin up, made of a run; drawn in black on white."""

from __future__ import annotations

from .compose import PAPERS, save_sheet, sheet

__all__ = ["PAPERS", "save_sheet", "sheet"]
