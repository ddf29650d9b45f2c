"""Chances on a real bench, and what drives them."""
