"""The ground as water sees it."""
