"""What can go wrong, and who decides: cautions, things to keep clear of, water over a bank."""
