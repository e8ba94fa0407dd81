"""What is dug, built or roofed."""
