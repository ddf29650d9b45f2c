"""Judged: the numbers of a run, the verdict of them, and its words."""
