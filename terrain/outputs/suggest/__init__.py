"""What the search for a layout found, as words, site files, a chart, maps, a page and JSON."""
