"""The map of a plan: what is drawn, by which signs, on which window of the ground."""
