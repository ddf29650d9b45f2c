"""Which key mends each finding of a case, and by how much."""
