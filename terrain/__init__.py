"""Plan a property's rain water and earthworks on its elevation raster.

The rooms, in the order data runs through them: `inputs`, `surface`, `runoff`,
`works`, `plan`, `outputs`.  A room imports only from rooms before it.
"""

__version__ = "0.1.0"
