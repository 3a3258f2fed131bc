"""Two sound recipes, a roll in a tank and six sheets in a tray, and a way to change them."""

from __future__ import annotations

ROLL = """\
schema = 1
name = "Roll film, cold laundry"
film = "panchromatic"
vessel = "lidded tank"

[contents]
what = "one 36-exposure roll, marked 14"
area_units = 1.0

[[stage]]
name = "develop"
role = "develop"
time = "10:00"
counted = "pour to pour"
reference = "20 C"
steer = true
rate = { law = "pairs", pairs = [
  ["18 C", "12:10"],
  ["20 C", "10:00"],
  ["24 C", "6:45"] ], sd_percent_per_c = 0.5 }
valid = ["18 C", "24 C"]
drain = "0:15"
ready = "0:30"
agitation = [{ from = "0:00", for = "0:30" }, { every = "1:00", for = "0:10" }]
band = "0.5 C"
gate = { band = "0.15 C", for = "1:00" }
factor = 1.0
solution = "developer A"
jug = 1

[[stage]]
name = "fix"
role = "fix"
time = "5:00"
until = "at least"
at_most = "12:00"
"""
TRAY = """\
schema = 1
name = "Six sheets"
film = "panchromatic"
vessel = "open tray"

[[stage]]
name = "develop"
role = "develop"
time = "8:00"
reference = "20 C"
rate = { law = "coefficient", per_10_c = 2.5, sd = 0.1 }
agitation = "continuous"

[[stage]]
name = "stop"
role = "stop"
time = "0:30"

[[stage]]
name = "fix"
role = "fix"
time = "4:00"

[[stage]]
name = "wash"
role = "wash"
time = "10:00"

[sheets]
count = 6
interval = "0:10"
"""


def changed(text: str, *edits: str) -> str:
    """The text with each 'old => new' done once; an old that is not there exactly once is the test's own fault."""
    for edit in edits:
        old, new = edit.split(" => ") if " => " in edit else (edit.removesuffix(" =>"), "")
        assert text.count(old) == 1, old
        text = text.replace(old, new)
    return text
