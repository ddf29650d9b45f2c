"""Two runs or more side by side: what differs, by how much, and which is better."""
