"""What a flood over the designed ground shows: in words, drawn, moving, and for programs."""
