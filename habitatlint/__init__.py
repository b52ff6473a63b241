"""A linter for deer-habitat layout plans."""
