"""One sheet a work: plan, sections, profile and figures."""
