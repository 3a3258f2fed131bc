"""What can be seen on a print that went wrong. As in sights.py; all of it common practice, no source, unless a comment says "from memory".
The white border is the key: only light that should not be there, or a spoiled developer, makes it grey. Data. Tests:
tests/review/test_sights.py.
"""

from __future__ import annotations

from monitor.review.sight import Cause, Sight

PRINTS: dict[str, Sight] = {
    "print-white": Sight(
        "white paper, nothing on it",
        (
            Cause("exposure", "it was exposed from the back, or not at all", "lay the paper coated side up, and see the lens open"),
            Cause(
                "solutions",
                "the developer was dead, or the fixer came first",
                "dip a lit strip of this paper into the developer first: it must turn black",
            ),
        ),
        "In the light, does a strip of this paper turn black in the developer? Yes: the exposure. No: the developer.",
    ),
    "print-black": Sight(
        "black paper",
        (
            Cause("light or material", "white light reached the paper", "open the packet under the safelight alone, and close it at once"),
            Cause("exposure", "far too much light from the enlarger", "close the lens two stops, and make a test strip"),
        ),
        "Is the border black too? Yes: light outside the picture. No: the enlarger.",
    ),
    "print-grey-border": Sight(
        "a border that should be white is grey",
        (
            Cause(
                "light or material",
                "the safelight: wrong colour, too near, too bright, or on for too long",
                "test it with coins (evenbath darkness guide --film paper), and hang it farther away",
            ),
            Cause("light or material", "the paper was old, or was kept warm", "take fresh paper, and keep it cool"),
            Cause(
                "development",
                "too long in the developer, or one that is too warm or spoiled",
                "take the print out at NOW, and mix fresh developer in a clean tray",
            ),
        ),
        "Is a piece that was never exposed, developed without the safelight, white? Yes: the safelight. No: the paper or the developer.",
    ),
    "print-flat": Sight(
        "grey and flat: no full black, no clean white",
        (
            Cause(
                "development",
                "pulled out too soon, because it came too dark",
                "expose less, and leave the print in until NOW",
            ),
            Cause("exposure", "the paper is too soft for this negative", "take a harder grade, or a harder filter"),
            Cause(
                "solutions",
                "the developer was cold, used up or too dilute",
                "mix fresh developer, and see that a lit strip turns black in the usual time",
            ),
        ),
        "Did it stay in the developer for its whole time? No: pulled too soon. Yes: the grade, or the developer.",
    ),
    "print-hard": Sight(
        "black and white with little between",
        (Cause("exposure", "the paper is too hard for this negative", "take a softer grade, or a softer filter"),),
    ),
    "print-light": Sight(
        "too light",
        (
            Cause("exposure", "too little exposure", "make a test strip, and expose longer"),
            Cause(
                "development",
                "too short in the developer, or the developer was cold or used up",
                "leave it in until NOW, and mix fresh developer when the first trace comes late",
            ),
        ),
        "In the light, does a strip of this paper turn black in the developer in the usual time? Yes: the exposure. No: the developer.",
    ),
    "print-dark": Sight(
        "too dark",
        (
            Cause("exposure", "too much exposure", "make a test strip, and expose shorter; do not pull it out sooner"),
            Cause("light or material", "fog as well", "test the safelight with coins (evenbath darkness guide --film paper)"),
        ),
        "Is the border white? Yes: the exposure. No: fog as well.",
    ),
    "print-cast": Sight(
        "a tint over all of a colour print",
        (
            Cause("exposure", "the filters are off", "change the filter of that tint in small steps, on a test strip"),
            Cause(
                "solutions",
                "bleach-fix got into the developer, or the developer was old",
                "rinse the drum well between prints, and mix fresh developer",
            ),
            Cause("light or material", "light reached the paper", "load in total darkness, and test the drum with a lamp inside"),
        ),
        "Is the border white? Yes: the filters. No: the developer, or light.",
    ),
    "print-patches": Sight(
        "patches or streaks that developed unevenly",
        (
            Cause("agitation", "the tray was not rocked, or the print went in slowly", "slide it under in one go, and rock the tray"),
            Cause("handling", "the print lay face down, or on another one", "one print at a time, or turn them through from the bottom"),
            Cause("handling", "too little solution: a part stood out of it", "at least 15 mm of solution in the tray"),
        ),
        "Did you rock the tray all the time? No: the movement. Yes: it stuck to something, or stood out.",
    ),
    "print-fingers": Sight(
        "prints of fingers",
        (
            Cause("handling", "fixer or stop bath on the fingers", "clean, dry hands at the enlarger, tongs at the trays"),
            Cause("handling", "developer on the fingers", "a pair of tongs for each tray, and rinse the hands before paper is touched"),
        ),
        "Are they light or dark? Light: fixer or stop bath. Dark: developer.",
    ),
    "print-stain": Sight(
        "a yellow or brown stain",
        (
            Cause("fixing", "fixed or washed too short", "two fixing baths, and the wash of its paper (evenbath wash)"),
            Cause("solutions", "old developer, or a stop bath that was used up", "mix both fresh, and let each print drip between trays"),
        ),
        "Did it come at once, or after days? At once: old developer or stop bath. After days: fixing or washing.",
    ),
    "print-specks": Sight(
        "white specks or hairs",
        (Cause("handling", "dust on the negative", "blow the negative clean, and hold it slantwise in the light before it goes in"),),
    ),
    "print-blurred": Sight(
        "not sharp",
        (
            Cause("handling", "the enlarger moved, or was not focused on the grain", "focus on the grain, wait ten seconds, then expose"),
            Cause("handling", "the negative bulged in the heat, or lay aslant", "take a glass carrier, or focus once the negative is warm"),
            Cause("exposure", "the negative itself is not sharp", "look at it with a loupe before you print it"),
        ),
        "Is the grain sharp anywhere? No: it moved, or the focus. In one part: the negative bulged. Everywhere: the negative itself.",
    ),
}
"""In the order in which one change is chosen."""
