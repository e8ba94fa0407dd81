"""What is looked at, printed and carried out."""
