"""How sure the headline figures are: many runs of the plan over what is not known."""
