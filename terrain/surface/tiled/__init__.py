"""The same answers as the rest of `terrain.surface`, tile by tile, for rasters beyond memory."""
