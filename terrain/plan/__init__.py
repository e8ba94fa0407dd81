"""The site as a network of stores, and its accounts."""
