"""What can be seen on a positive that went wrong: slides, and black-and-white reversal. As in sights.py; all of it common practice, no
source, unless a comment says "from memory". On a positive all is the other way round: more light or more first developer makes it lighter.
Its unexposed border is the key: it should be the deepest black that the film has. Data. Tests: tests/review/test_sights.py.
"""

from __future__ import annotations

from monitor.review.sight import Cause, In, Sight

_LOST = "bleach longer, or in fresh bleach; this film cannot be put right: more bleach would take its picture off"
"""Of black-and-white reversal: its positive is silver, which bleach dissolves like the negative. The dyes of a slide stay."""
POSITIVES: dict[str, Sight] = {
    "slide-clear": Sight(
        "clear film all over, the borders too",
        (
            Cause(
                "solutions",
                "the second image never came: the second or colour developer was dead, or the reversal (light or bath) was left out",
                "before the film goes in, try a piece of leader in the second developer, in the light: it must turn black",
            ),
            Cause(
                "light or material",
                "light reached the film before the first developer, or in it",
                "test the place where you load by ten minutes in its dark, and a tank with a lid by a lamp inside it",
            ),
            Cause(
                "solutions",
                "fixer went in before the second developer",
                "line the jugs up in the order of use, each with a mark that you can feel",
            ),
        ),
        "Does a piece of leader, well lit, turn black in the second developer that is left? No: it was dead. Yes: the reversal was left"
        " out, light came in too early, or the fixer did.",
    ),
    "slide-black": Sight(
        "black all over",
        (
            Cause(
                "solutions",
                "the first developer was dead, or a part of it was missing",
                "dip a piece of leader into the first developer before the film goes in: it must turn dark",
            ),
            Cause(
                "exposure",
                "the film was never exposed",
                "after loading the camera, wind on twice and see the rewind knob turn",
            ),
            Cause(
                "solutions",
                "the bleach did nothing: exhausted, cold or forgotten",
                "fresh bleach, for as long as its sheet says; only colour can be bleached again now",
                next_in=(
                    In(("colour",), "bleach again now, in fresh bleach, for as long as its sheet says; then fix and wash"),
                    In(("black-and-white",), _LOST),
                ),
            ),
        ),
        "Are the edge numbers clear? Yes: the film was never exposed. No: the first developer, or the bleach.",
    ),
    "slide-dark": Sight(  # what the edge numbers tell: from memory, not verified
        "too dark, the bright parts too",
        (
            Cause("exposure", "too little exposure", "expose half a stop more; leave the first development as it is"),
            Cause(
                "development",
                "the first developer was too short, too cold or exhausted",
                "hold the first developer at its temperature, for its time; if it was, give it a tenth more time",
                "first developer less",
            ),
        ),
        "Are the edge numbers as bright as on a good film? Yes: the exposure. No: the first developer.",
    ),
    "slide-light": Sight(  # what the borders tell: from memory, not verified
        "too light, the dark parts washed out",
        (
            Cause("exposure", "too much exposure", "expose half a stop less; leave the first development as it is"),
            Cause(
                "development",
                "the first developer was too long or too warm",
                "hold the first developer at its temperature, for its time; if it was, give it a tenth less time",
                "first developer more",
            ),
            Cause(
                "light or material",
                "light reached the film before the first developer was over",
                "test the place where you load by ten minutes in its dark, and a tank with a lid by a lamp inside it",
            ),
        ),
        "Are the unexposed borders a deep black? Yes: the exposure. No: the first developer, or light.",
    ),
    "slide-muddy": Sight(
        "dull and muddy, the bright parts grey or brown",
        (
            Cause(
                "solutions",
                "the bleach was too short, too cold or exhausted: silver stayed in",
                "fresh bleach, for as long as its sheet says; only colour can be bleached again now",
                next_in=(
                    In(("colour",), "bleach again now, for as long as its sheet says; then fix and wash"),
                    In(("black-and-white",), _LOST),
                ),
            ),
            Cause("fixing", "not fixed to the end", "fix again now, in fresh fixer; then wash"),
        ),
        "Does a strip clear up in fresh fixer? Yes: it was not fixed to the end. No: the bleach.",
    ),
    "slide-stain": Sight(
        "a yellow or brown stain in the bright parts",
        (
            Cause(
                "solutions",
                "the bleach was not cleared out: clearing bath too short or used up",
                "clear again now in a fresh bath, then wash; next time until the stain has gone",
            ),
            Cause("solutions", "the wash between bleach and clearing bath was short", "wash until the water runs off without colour"),
        ),
        "Does it go in a fresh clearing bath? Yes: the clearing bath was short. No: wash longer before it.",
    ),
    "slide-cast": Sight(  # the tint of the border: from memory, not verified
        "a tint over all of a colour slide",
        (
            Cause(
                "exposure",
                "the light had a colour that the film was not made for",
                "take the film that is made for that light, or the filter that its sheet names",
            ),
            Cause(
                "solutions",
                "the colour developer was off: carried-over first developer, wrong temperature, or too old",
                "hold the colour developer at its temperature, wash as the sheet says before it, and mix it fresh",
                "colour developer off",
            ),
            Cause("light or material", "the film was old, or was kept warm", "take fresh film, and keep it cool"),
        ),
        "Is the tint the same in pictures that were taken in different light? Yes: the colour developer, or old film. No: the light.",
    ),
}
"""In the order in which one change is chosen."""
