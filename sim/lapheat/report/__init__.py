"""Seen by people: the terminal, the result folder, the figures."""
