"""The search for a layout: where works should go, and how far any plan is from the best one."""
