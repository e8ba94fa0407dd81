"""What is carried out to the field: stakes and their levels, for paper, phone and machine."""
