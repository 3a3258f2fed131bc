"""What can be seen on a negative that went wrong: the causes of each sight, the likeliest first, one question that tells them apart, and
one change for each cause; with the tables of positives and prints beside it. Data.

All of it is common practice, no source (the project's practice text, section 10), unless a comment says "from memory". The edge numbers
are the key to a blank film: they are printed with light at the factory, so only a development that failed can lose them.
Tests: tests/review/test_sights.py.
"""

from __future__ import annotations

from collections.abc import Mapping

from monitor.core.recipe.kinds import CLOSED_VESSELS
from monitor.review.sight import About, Cause, Evidence, In, Kind, Sight
from monitor.review.sights_of_positives import POSITIVES
from monitor.review.sights_of_prints import PRINTS

LIDDED: tuple[Kind, ...] = ("lidded tank",)
OPEN: tuple[Kind, ...] = ("open tray", "open tank")
NO_TRAY: tuple[Kind, ...] = ("lidded tank", "drum", "open tank")
"""Where a roll may be: what lies in a tray are sheets."""


def _one(seen: str, about: About, cause: str, next_time: str, evidence: Evidence | None = None) -> Sight:
    return Sight(seen, (Cause(about, cause, next_time, evidence),))


NEGATIVES: dict[str, Sight] = {
    "blank": Sight(
        "clear film, and no edge numbers either",
        (
            Cause(
                "solutions",
                "the developer was dead, or a part of it was missing",
                "dip a piece of leader into the developer before the film goes in: it must turn dark",
            ),
            Cause(
                "solutions",
                "fixer or stop bath went in before the developer",
                "line the jugs up in the order of use, each with a mark that you can feel",
            ),
            Cause(
                "development",
                "the developer was poured off almost at once",
                "leave the developer in until NOW",
                "hardly developed",
            ),
        ),
        "In the light, does a piece of leader turn dark in the developer that is left? No: the developer was dead. Yes: the wrong bath went"
        " in first.",
    ),
    "blank-numbers": Sight(
        "clear film, but the edge numbers are there",
        (
            Cause(
                "exposure",
                "the film never moved through the camera",
                "after loading the camera, wind on twice and see the rewind knob turn",
                only_in=NO_TRAY,
            ),
            Cause(
                "exposure",
                "no light came in: lens cap, dark slide or shutter",
                "without film, look through the open back while the shutter opens",
            ),
            Cause(
                "handling",
                "fresh film was taken for exposed film",
                "fold the leader of every exposed roll over at once; turn the dark slide of an exposed holder over",
            ),
        ),
        "Did the rewind knob turn each time you wound on? No: the film never moved. Yes: no light came in, or it was the wrong roll.",
        asked_in=(In(("open tray",), "Was the dark slide out as the shutter opened? No: no light came in. Yes: the wrong holder."),),
    ),
    "black": Sight(
        "black film",
        (
            Cause(
                "light or material",
                "light reached the film outside the pictures: the room, the bag, the tank's lid or the camera's back",
                "test the place where you load by ten minutes in its dark, and a tank with a lid by a lamp inside it",
                "restart",
            ),
            Cause(
                "exposure",
                "far too much light in the camera",
                "check film speed, meter and shutter with the camera empty",
            ),
        ),
        "Are the edges black as well as the pictures? Yes: light from outside. No, only the pictures: far too much exposure.",
    ),
    "milky": Sight(
        "milky, or pink",
        (
            Cause(
                "fixing",
                "not fixed to the end; pink alone is often only dye, and no sign by itself",
                "fix again now, in fresh fixer; next time test the clearing time first",
                "fixing",
            ),
        ),
    ),
    "wrinkles": _one(
        "a net of fine wrinkles",
        "temperature",
        "a shock of temperature between two baths",
        "bring stop, fix and wash to within 3 C of the developer",
        "jump",
    ),
    "fog-all": Sight(
        "fog over all, edges too",
        (
            Cause("light or material", "the film was old, or was kept warm", "take fresh film, and keep it cool"),
            Cause("light or material", "light in the room", "test the place where you load by ten minutes in its dark", "restart"),
            Cause("solutions", "the developer: much too warm, too long in it, or dirty", "mix fresh developer in a clean jug"),
        ),
        "Does a piece of fresh film that was never exposed fog as well? No: the film was old. Yes: light in the room, or the developer; a"
        " piece loaded in a changing bag that stays clear says it was the light.",
    ),
    "fog-edge": _one(
        "fog at the edge only",
        "light or material",
        "light into the tank, the cassette or the holder",
        "try tank, cassette and holder with paper",
    ),
    "undeveloped-band": Sight(
        "a pale band or patch that was hardly developed",
        (
            Cause(
                "handling",
                "too little developer: a part of the film stood out of it",
                "find out with water how much covers all of it, and always take that much",
                next_in=(
                    In(LIDDED, "find out with water how much covers the reel, and always pour that much"),
                    In(("open tray",), "at least 15 mm of solution in the tray, and press each sheet under"),
                    In(("open tank",), "enough solution to cover the hanger and its sheet"),
                    In(("drum",), "as much solution as the drum's sheet asks for, and the drum level"),
                ),
            ),
            Cause(
                "handling",
                "the reel slid up on its column",
                "push the reel down, and hold it there with the clip or an empty reel",
                only_in=LIDDED,
            ),
            Cause(
                "handling",
                "two turns of the film touched on the reel",
                "load more slowly, and feel for bulges before the lid goes on",
                only_in=CLOSED_VESSELS,
            ),
            Cause(
                "handling",
                "two sheets touched or stuck together",
                "keep the sheets apart",
                only_in=(*OPEN, "drum"),
                next_in=(
                    In(("open tray",), "wet each sheet by itself before the next goes in, and keep them moving"),
                    In(("open tank",), "keep the hangers apart"),
                    In(("drum",), "give each sheet its own place in the drum, none over another"),
                ),
            ),
        ),
        "Is it a band along one edge, or are there patches? A band: the liquid did not reach it. Patches: it touched something.",
    ),
    "thin-shadows": _one(
        "thin shadows with good highlights", "exposure", "too little exposure", "expose more; leave the development as it is"
    ),
    "thin-all": Sight(
        "thin everywhere, edge numbers thin too",
        (
            Cause("development", "too little development: too short a time", "develop longer; leave the exposure as it is", "long enough"),
            Cause(
                "solutions",
                "the developer was weak, exhausted or too dilute",
                "mix fresh developer, measure the concentrate with a syringe, and try a piece of leader in it first",
            ),
            Cause("temperature", "the thermometer reads too high: it was colder than it said", "compare it with a second thermometer"),
            Cause("exposure", "too little exposure as well", "expose more; leave the development as it is"),
        ),
        "In the light, does a piece of leader go dark in that developer in the usual time? No: the developer is weak. Yes: the time, the"
        " thermometer or the exposure.",
    ),
    "dense-highlights": _one(
        "dense highlights", "development", "too much development", "develop for less time; leave the exposure as it is"
    ),
    "streaks": Sight(
        "streaks or bands of uneven density",
        (
            Cause(
                "agitation",
                "too little movement, most of all in the first half minute",
                "move it all through the first 30 s, then as often as your sheet says",
                "movement",
            ),
            Cause(
                "agitation",
                "the developer was poured in too slowly",
                "pour it in within 10 to 20 s",
                only_in=CLOSED_VESSELS,
                next_in=(In(LIDDED, "pour it in within 10 to 20 s, the tank held at a slant"),),
            ),
            Cause("agitation", "the film went in too slowly", "put all of it under in one go", only_in=OPEN),
            Cause("light or material", "light or dirt in the camera", "look at the camera's seals and shutter"),
        ),
        "Are they in the same place in every picture? Yes: the camera. No: movement, or a slow start.",
    ),
    "edge-marks": Sight(  # which is dark and which is light: from memory, not verified
        "marks at the edges or at the sprocket holes, or a bright border",
        (
            Cause(
                "agitation",
                "surge: moved so roughly that the developer shot past the edge or through the holes",
                "agitate more gently",
                next_in=(
                    In(LIDDED, "agitate more gently: turn the tank over in two seconds, and no faster"),
                    In(("open tray",), "shuffle the sheets more gently"),
                    In(("open tank",), "lift the hangers and let them down more gently: it shoots through the holes of their frames"),
                    In(("drum",), "turn the drum no faster than its sheet says"),
                ),
            ),
            Cause(
                "agitation",
                "bromide drag: moved so little that used developer ran down the film",
                "agitate more: as often as your sheet says",
                "movement",
            ),
        ),
        "On the negative, are they darker or lighter than what is around them? Darker: surge. Lighter: drag.",
    ),
    "air-bells": Sight(
        "small clear round spots",
        (
            Cause(
                "agitation",
                "air bells",
                "shake them off in the first seconds",
                next_in=(
                    In(LIDDED, "knock the tank once or twice after pouring in"),
                    In(("open tray",), "soak the sheets in water first, and shuffle them at once in the developer"),
                    In(("open tank",), "knock the hangers against the tank as they go in"),
                    In(("drum",), "turn the drum at once, or soak the film in water first"),
                ),
            ),
        ),
    ),
    "crescents": Sight(  # which is dark and which is clear: from memory, not verified
        "crescents",
        (
            Cause(
                "handling",
                "film kinked in loading",
                "load more slowly, with dry hands",
                next_in=(In(CLOSED_VESSELS, "load more slowly, with dry hands and a dry reel"),),
            ),
            Cause("handling", "film kinked before it was exposed", "load the camera without bending the film"),
        ),
        "On the negative, are they dark or clear? Dark: kinked in loading, after it was exposed. Clear: kinked before the picture was"
        " taken.",
    ),
    "scratches": Sight(
        "scratches",
        (
            Cause("drying", "grit under a cloth, a finger or a squeegee", "do not wipe wet film: let it drip"),
            Cause(
                "handling",
                "grit in the cassette's felt or in the camera",
                "brush the camera out, and never pull a roll tight",
                only_in=NO_TRAY,
            ),
            Cause(
                "handling",
                "the corner of the next sheet, or a nail",
                "fewer sheets at once; lift them by the edges, with short nails",
                "tray",
                only_in=("open tray",),
            ),
        ),
        "Did you wipe the film while it was wet? Yes: the wiping. No: long straight lines come from cassette or camera, short ones from"
        " hands.",
        asked_in=(In(("open tray",), "Did you wipe the film while it was wet? Yes: the wiping. No: a nail, or another sheet."),),
    ),
    "drying-marks": Sight(
        "rings, tide marks or drops that dried",
        (
            Cause("drying", "drops of hard water dried on it", "use distilled water for the last bath"),
            Cause("drying", "too much wetting agent", "count the drops of wetting agent: what the sheet says, no more"),
        ),
        "Are they chalky or smeary? Chalky: hard water. Smeary: wetting agent. Either way: wash again for five minutes and dry again.",
    ),
    "powder-frost": Sight(
        "a white frost, or the prints of fingers",
        (
            Cause(
                "handling",
                "powder from gloves",
                "take gloves that were not powdered, or rinse them under the tap before they touch film",
            ),
            Cause("drying", "a deposit of lime or of tired fixer", "rinse in distilled water, and filter or renew the fixer"),
            Cause("drying", "dust that dried in", "hang the film where nobody walks, and leave it alone until it is dry"),
        ),
        "Does it lie where you held the film? Yes: glove powder. No: an even haze is a deposit, single specks are dust.",
    ),
}
"""In the order in which one change is chosen: what spoils all first, then exposure before development, then marks."""
ON_ANY_FILM = ("wrinkles", "streaks", "scratches", "drying-marks", "powder-frost")
"""Marks that look alike on a positive, so that they may stand beside its own sights."""
SIGHTS: dict[str, Sight] = {**NEGATIVES, **POSITIVES, **PRINTS}
GROUPS: Mapping[str, Mapping[str, Sight]] = {
    f"On a negative ({', '.join(ON_ANY_FILM)}: on a positive too)": NEGATIVES,
    "On a positive, from reversal": POSITIVES,
    "On a print": PRINTS,
}
"""All of them by what is looked at; on one thing the sights of one group are seen."""
