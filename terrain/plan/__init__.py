"""Site to plan: a room for each storey, `plan.py` for a site, `questions.py` for a raster."""
