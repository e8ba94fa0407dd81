"""What a screening of a district found: tables, layers, maps and pages."""
