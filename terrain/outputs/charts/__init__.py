"""Charts: storms, seasons, tanks, rain, doubt, and the cascade as a diagram."""
