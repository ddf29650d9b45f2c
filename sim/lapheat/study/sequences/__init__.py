"""Orders of segments, compared."""
