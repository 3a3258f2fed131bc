"""The hardness of water, in whatever unit the supplier prints, and what it asks for.

Sources. Units by definition, as calcium carbonate (molar mass 100.087 g): a German degree is 10 mg of calcium oxide (56.077 g) in a
litre, a French one 10 mg of carbonate, an English one a grain in an imperial gallon, gpg a grain in a US gallon. Classes: the US Geological
Survey's (soft to 60 mg/l, moderately hard to 120, hard to 180, very hard above). What to do: common practice, no source.
Pure. Tests: tests/prepare/guide/test_hardness.py.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from monitor.core.text.quantities import QuantityWrong, shown

GRAIN_MG = 64.79891
MG_PER_L = {
    "mg/l": 1.0,
    "ppm": 1.0,
    "mmol/l": 100.087,
    "dH": 10.0 * 100.087 / 56.077,
    "fH": 10.0,
    "eH": GRAIN_MG / 4.54609,
    "gpg": GRAIN_MG / 3.785411784,
}
"""One of each, in milligrams of calcium carbonate a litre."""
HARDEST_MG_PER_L = 2000.0
CLASSES = ((60.0, "soft"), (120.0, "moderately hard"), (180.0, "hard"), (float("inf"), "very hard"))
_HARDNESS = re.compile(rf"(\d{{1,5}}(?:\.\d{{1,2}})?)\s*°?\s*({'|'.join(map(re.escape, MG_PER_L))})", re.ASCII)


@dataclass(frozen=True, slots=True)
class Hardness:
    """`mg_per_l`: as calcium carbonate; `called`: its class; `answer`: what to do."""

    mg_per_l: float
    called: str
    answer: str


def read_hardness(text: str) -> Hardness:
    """Hardness from text such as "14 dH" or "250 mg/l". Raises `InputWrong`."""
    found = _HARDNESS.fullmatch(text.strip().replace("°", ""))
    mg_per_l = -1.0 if found is None else float(found[1]) * MG_PER_L[found[2]]
    if not 0 <= mg_per_l <= HARDEST_MG_PER_L:
        raise QuantityWrong(f"{shown(text)} is not a hardness", f'allowed: a number and its unit ({", ".join(MG_PER_L)}), such as "14 dH"')
    called = next(name for limit, name in CLASSES if mg_per_l <= limit)
    return Hardness(mg_per_l, called, ANSWERS[called])


ANSWERS = {
    "soft": "Nothing to do. Wetting agent in the last bath is enough.",
    "moderately hard": "Use distilled water for the last bath; tap water for all the rest.",
    "hard": "Use distilled water for the last bath, and for a developer that turns cloudy in tap water.",
    "very hard": "Use distilled water for the last bath and for the developer.",
}
"""Common practice, no source."""
