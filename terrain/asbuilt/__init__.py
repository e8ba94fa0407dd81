"""What was really dug: surveyed points beside the design, what the work holds, what to mend."""
