"""Files into checked objects."""
