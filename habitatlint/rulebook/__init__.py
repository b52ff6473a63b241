"""The rule language: packs read, checked against a vocabulary of measures, and judged on a scene."""
