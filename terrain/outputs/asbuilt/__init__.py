"""What a survey of finished works says: in words, drawn, and for programs."""
