"""Compiled loops over rows of cells. Machine code is kept under a mark of this folder."""
