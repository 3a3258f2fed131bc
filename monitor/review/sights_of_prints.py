"""What can be seen on a print that went wrong. As in sights.py; all of it common practice, no source, unless a comment says "from memory".
The white border is the key: only light that should not be there, or a spoiled developer, makes it grey. Data. Tests:
tests/review/test_sights.py.
"""

from __future__ import annotations

from monitor.review.sight import Cause, In, Sight

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
        "In the light, does a strip of this paper turn black in the developer? Yes: the exposure, or the fixer came first. No: the"
        " developer.",
    ),
    "print-black": Sight(
        "black paper",
        (
            Cause(
                "light or material",
                "light reached the paper",
                "open the packet in the light that its sheet allows (colour paper: none), and close it at once",
                next_in=(
                    In(("colour",), "open the packet in total darkness, and close it at once"),
                    In(("black-and-white",), "open the packet under the safelight alone, and close it at once"),
                ),
            ),
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
                only_in=("black-and-white",),
            ),
            Cause(
                "light or material",
                "light in the room, however weak: colour paper takes no safelight",
                "handle it in total darkness, and look for light after ten minutes in it",
                only_in=("colour",),
            ),
            Cause("light or material", "the paper was old, or was kept warm", "take fresh paper, and keep it cool"),
            Cause(
                "development",
                "too long in the developer, or one that is too warm or spoiled",
                "end the development at NOW, and mix fresh developer in a clean vessel",
            ),
        ),
        "Is a piece that was never exposed, developed in total darkness, white? Yes: the light. No: the paper or the developer.",
    ),
    "print-flat": Sight(
        "grey and flat: no full black, no clean white",
        (
            Cause(
                "development",
                "pulled out too soon, because it came too dark",
                "give less exposure, and leave the print in until NOW",
                "lifted early",
            ),
            Cause(
                "exposure",
                "the paper is too soft for this negative",
                "take paper of more contrast",
                next_in=(In(("black-and-white",), "take a harder grade, or a harder filter"),),
            ),
            Cause(
                "solutions",
                "the developer was cold, used up or too dilute",
                "mix fresh developer, and see that a lit strip turns black in the usual time",
                "first developer less",
                next_in=(In(("colour",), "hold the developer at its temperature, for its time, and mix it fresh"),),
            ),
        ),
        "In the light, does a strip of this paper turn black in the developer in the usual time? No: the developer. Yes: pulled too soon,"
        " or the paper.",
    ),
    "print-hard": Sight(
        "black and white with little between",
        (
            Cause(
                "exposure",
                "the paper is too hard for this negative",
                "take paper of less contrast",
                next_in=(In(("black-and-white",), "take a softer grade, or a softer filter"),),
            ),
        ),
    ),
    "print-light": Sight(
        "too light",
        (
            Cause("exposure", "too little exposure", "make a test strip, and give more exposure"),
            Cause(
                "development",
                "not long enough in the developer, or the developer was cold or used up",
                "have the developer at its temperature, leave the print in until NOW, and mix it fresh when the first trace comes late",
                "first developer less",
                next_in=(In(("colour",), "hold the developer at its temperature, for its time, and mix it fresh"),),
            ),
        ),
        "In the light, does a strip of this paper turn black in the developer in the usual time? Yes: the exposure. No: the developer.",
    ),
    "print-dark": Sight(
        "too dark",
        (
            Cause("exposure", "too much exposure", "make a test strip, and give less exposure; do not pull it out sooner"),
            Cause(
                "development",
                "too long in the developer, or it was too warm",
                "have the developer at its temperature, and end it at NOW",
                "first developer more",
            ),
            Cause(
                "light or material",
                "fog as well",
                "look for light in the dark, and test a safelight with coins (evenbath darkness guide --film paper)",
                next_in=(In(("colour",), "handle it in total darkness, and look for light after ten minutes in it"),),
            ),
        ),
        "Is the border white? Yes: the exposure, or the developer. No: fog as well.",
    ),
    "print-cast": Sight(
        "a tint over all of a colour print",
        (
            Cause(
                "exposure",
                "the filters are off",
                "add filter of the colour that there is too much of (prints from negatives), in small steps, on a test strip",
            ),
            Cause(
                "temperature",
                "the developer was too cold or too warm",
                "hold the developer at its temperature, for its time",
                "colour developer off",
            ),
            Cause(
                "solutions",
                "bleach-fix got into the developer, or the developer was old",
                "rinse drum or tray well between prints, and mix fresh developer",
            ),
            Cause(
                "light or material",
                "light reached the paper",
                "handle it in total darkness",
                next_in=(In(("drum", "lidded tank"), "load in total darkness, and test the closed vessel with a lamp inside"),),
            ),
        ),
        "Is the border white? Yes: the filters, or the temperature. No: the developer itself, or light.",
    ),
    "print-patches": Sight(
        "patches or streaks that developed unevenly",
        (
            Cause(
                "agitation",
                "it was not moved all the time, or did not get wet all at once",
                "wet all of it at once, and keep it moving",
                "movement",
                next_in=(
                    In(("open tray",), "slide it under in one go, and rock the tray"),
                    In(("drum",), "pour it in at one go, and have the drum turn level and without a pause"),
                ),
            ),
            Cause(
                "handling",
                "the print lay face down, or on another one",
                "one print at a time, or turn them through from the bottom",
                only_in=("open tray", "open tank"),
            ),
            Cause(
                "handling",
                "too little solution: a part stood out of it",
                "take enough solution to cover all of it",
                next_in=(
                    In(("open tray",), "at least 15 mm of solution in the tray"),
                    In(("drum",), "as much solution as the drum's sheet asks for"),
                ),
            ),
        ),
        "Was it moved all the time? No: the movement. Yes: it stuck to something, or stood out.",
        asked_in=(
            In(("open tray",), "Did you rock the tray all the time? No: the movement. Yes: it stuck to something, or stood out."),
            In(("drum",), "Did the drum turn level and without a pause? No: the movement. Yes: too little solution, or a slow pour."),
        ),
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
            Cause(
                "fixing",
                "not fixed or washed long enough",
                "fix and wash for as long as the sheet says (evenbath wash)",
                next_in=(In(("black-and-white",), "two fixing baths, and the wash that this paper needs (evenbath wash)"),),
            ),
            Cause("solutions", "old developer, or a stop bath that was used up", "mix both fresh, and let each print drip between baths"),
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
            Cause(
                "handling",
                "the negative bulged in the heat, or did not lie flat",
                "take a glass carrier, or focus once the negative is warm",
            ),
            Cause("exposure", "the negative itself is not sharp", "look at it with a loupe before you print it"),
        ),
        "Is the grain sharp anywhere? No: it moved, or the focus. In one part: the negative bulged. Everywhere: the negative itself.",
    ),
}
"""In the order in which one change is chosen."""
