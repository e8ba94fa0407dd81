"""The report: one page, and the tables in it."""
