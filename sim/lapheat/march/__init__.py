"""Marched: a problem through its schedule, step by step, to a history."""
