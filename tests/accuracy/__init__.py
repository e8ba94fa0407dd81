"""Everything that is held against a figure from outside the project, computed and put on a page."""
