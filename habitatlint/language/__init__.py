"""The plan language: its blocks, their properties, and names resolved."""
