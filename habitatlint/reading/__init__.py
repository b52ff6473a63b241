"""Cuts a text into blocks, parses them and recovers; the only door to lark."""
