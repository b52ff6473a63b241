"""A layout linter for deer habitat, with a plain-text plan language."""

__version__ = "0.1.0"
