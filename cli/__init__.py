"""Words in, words out: the levelsill command. No engineering lives here."""
