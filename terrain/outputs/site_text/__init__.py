"""The text of a site file with other works in it; all else stays to the letter."""
