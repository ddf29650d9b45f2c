"""The keys of a case file: unit, range and description of each."""
