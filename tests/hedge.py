"""A plan that tests of worth and of its paper share: a hedge that hides a walk once it has grown."""

from __future__ import annotations

HEDGE = """\
plan "A hedge along a lane"
  date 2026-02-10

boundary
  outline 0,0 400,0 400,400 0,400

food clover
  outline 100,60 200,60 200,120 100,120

path lane
  use entry
  line 100,20 300,20

stand seat
  at 302,22
  reach lane

planting hedge
  kind screen
  line 40,40 360,40
  height 6ft from 2031
  step 1

work
  step 1 "Plant" 2026-04-01..2026-04-10
"""
