"""Answers that programs read."""
