"""The starter plan that `new` writes: commented, sound, and small enough to change line by line."""

from __future__ import annotations

_STARTER = """\
# {comment}
# A plan is read block by block. A block begins at the left margin with a word such as `pocket`;
# what is said of it follows, one line each, indented. Words after a # are for you alone.
# Places are east,north of the plan's origin, here in yards. Change every figure to your own ground.

plan "{title}"
  stage design
  units yd
  hunted 2026-11-07..2027-01-18
  leaf-out 05-15

# The property line, corner by corner: 440 by 440 yards is 40 acres.
boundary
  outline 0,0 440,0 440,440 0,440

food south-plot "Clover plot"
  kind plot
  outline 40,40 120,40 120,90 40,90

# Standing timber, by class of diameter; what is hinged must come after the overstory is released.
timber woods
  outline 0,100 440,100 440,440 0,440
  species red-maple sugar-maple
  class 6in..11in 50 sqft/ac
  class 12in..22in 40 sqft/ac

# Cover for the does right by the food, so that they have no cause to cross the middle. Corridors run through
# it, so that no bed in it is far from a way out.
pocket plot-side "Plot-side thicket"
  for does
  outline 30,110 150,110 150,170 30,170
  bed 90,145
  corridors every 20yd off south-plot width 3ft
  why "Keeps the does at the food and out of the middle."

# The deer's line of travel runs past the plot, not into it.
path doe-run
  use travel
  line 240,210 160,102 10,102
  from plot-side
  to south-plot

# The hunter's way in, along the edge.
path south-lane "South lane"
  use entry
  line 440,20 180,20 174,27

stand plot-corner
  at 174,30
  reach south-lane
  range 60yd
  winds NW N
  sit evening
  height 18ft

# Hides the way in from the plot once it has grown, and turns in toward it at the stand.
planting lane-hedge
  kind screen
  line 182,22 190,25 440,25
  species white-spruce
  height 6ft from 2031
  step 3
  by crew-one

release plot-side-canopy
  outline 20,100 160,100 160,180 20,180
  basal-area 90 to 50 sqft/ac
  method fell
  wood leave
  step 1
  by crew-one

# A row of hinges: the first tree on the first point, the next each spacing on. Hinges fall with the
# line of travel at their back, so that no top lies in the deer's way.
row thicket
  purpose bedding
  in plot-side
  method hinge
  stumps 50,128 130,128
  spacing 20
  fall N
  dbh 6in..9in
  cut-height 3ft
  step 2
  by crew-one

crew crew-one
  people 2
  training felling
  gear hard-hat face-screen eye-protection hearing-protection gloves leg-protection boots first-aid

# How often the wind blows from where in your season: from a weather station near you, or your own notes.
winds season
  from N 9% 7mph
  from NE 6% 5mph
  from E 6% 5mph
  from SE 9% 6mph
  from S 15% 8mph
  from SW 18% 9mph
  from W 17% 9mph
  from NW 15% 9mph
  calm 5%
  source "made up: put your own in"

# Felling and hinging hurt people: a trained feller decides tree by tree, and local codes, the
# product's label and licensed foresters and applicators stand above anything written here.
work
  step 1 "Release the overstory" 2027-02-01..2027-02-06 by crew-one
  step 2 "Hinge the thicket" 2027-02-15..2027-02-20 by crew-one
  step 3 "Plant the hedge" 2027-04-19..2027-04-21 by crew-one
"""


def starter(title: str) -> str:
    """The starter plan's text, with the property's name in it."""
    plain = " ".join(title.replace("\\", " ").replace('"', " ").split()) or "My farm"
    return _STARTER.format(title=plain, comment=f"{plain}: a plan of habitat work.")
