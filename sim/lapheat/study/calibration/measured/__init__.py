"""Measurements from a CSV file: thermocouple histories, trial pieces, or widths of beads."""

from .kinds import Beads, Edge, Readings, TrialPieces, read_measured

__all__ = ["Beads", "Edge", "Readings", "TrialPieces", "read_measured"]
