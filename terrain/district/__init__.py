"""Many properties, and rasters beyond one machine's memory."""
