"""Commands of many runs."""
