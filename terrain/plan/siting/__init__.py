"""The works placed on the land: what is read, where each work lies, what it is made of."""
