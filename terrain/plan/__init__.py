"""Site to plan: a room for each storey, `plan.py` for a site, `*_question.py` for a raster."""
