"""What the works cost, what their water is worth, and which to build first."""
