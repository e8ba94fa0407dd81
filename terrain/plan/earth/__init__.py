"""The works as they are dug: finished for their peak, the ground they leave, earth and its cost."""
