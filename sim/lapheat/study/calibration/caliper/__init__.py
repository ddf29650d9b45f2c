"""Calibration by the widths of beads on a scrap tube."""
