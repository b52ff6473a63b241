"""Packs as their makers handle them: examples proven, rules looked over, packs wrapped and pinned."""
