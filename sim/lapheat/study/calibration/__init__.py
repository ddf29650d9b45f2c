"""What is uncertain of the arc, fitted to readings or to trial pieces."""
