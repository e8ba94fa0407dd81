"""The plan set: pages at true scale, to print."""
