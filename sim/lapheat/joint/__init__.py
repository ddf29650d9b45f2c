"""Shape and rhythm: mesh lines, section, ring, and the schedule of segments."""
