"""Packs as their makers handle them: examples proven."""
