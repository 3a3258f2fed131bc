"""How many seeds a storm takes: a few in the suite, as many as you like by hand.

    EVENBATH_SEEDS=200 pytest tests/live/test_evening.py -k storm
"""

from __future__ import annotations

import os


def seeds(few: int) -> range:
    """The seeds of a storm: the first `few`, or as many as EVENBATH_SEEDS says."""
    return range(int(os.environ.get("EVENBATH_SEEDS", few)))
