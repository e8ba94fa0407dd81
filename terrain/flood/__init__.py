"""Water that runs over the ground: shallow flow on a square grid, from rain or from standing water.

Bare arrays in, arrays out; it knows no file, site or work.
"""
