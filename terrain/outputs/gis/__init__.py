"""The plan for desktop GIS: layers with their styles, and surfaces."""
