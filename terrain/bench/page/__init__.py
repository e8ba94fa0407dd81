"""The bench's page: the map, what is done on it, and what it tells."""
