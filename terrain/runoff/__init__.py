"""From rain to water at a point."""
