"""What advances the fields by one step: compiled, or through FiPy."""
