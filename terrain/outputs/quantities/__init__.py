"""Quantities and cost: a bill that recomputes, as a spreadsheet and as CSV."""
