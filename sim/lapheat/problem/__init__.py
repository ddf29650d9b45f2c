"""Plain arrays: a case on its mesh, as the marches take it."""
