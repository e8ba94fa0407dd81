"""The bench: a site laid out in a browser, on the owner's own machine."""
