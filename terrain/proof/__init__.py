"""A plan held against water that runs over its ground: the designed ground flooded."""
