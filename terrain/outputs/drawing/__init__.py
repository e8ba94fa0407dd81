"""Symbols, lettering and the map that every drawing stands on."""
