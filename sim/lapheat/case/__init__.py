"""What is given: a case in SI, its alloys, its keys, and the file it is read from."""
