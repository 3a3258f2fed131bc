"""The pre-flight checklist as data: what is asked before a session, of whom, for which recipes, and what a "no" means.

Shared by `evenbath checklist` on paper and by the station, which answers the machine's items itself and asks a person
the others one by one. Decides the questions and their order; asks nothing, checks nothing, lights nothing. The order is
that of the work: first what can still be mixed or bought, then light and sound, the hands last; the dark list is read
aloud before the dark. Sources: common practice without a source, apart from five minutes for lamps with afterglow
and ten for the eyes (NAVEDTRA 14209, chapter 10). Pure. Tests: tests/core/recipe/test_checklist.py.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

from monitor.core.probes.learned import COLOUR_DAYS, NOT_COMPARED_SD_C, WITNESS_SD_C
from monitor.core.probes.register import DATASHEET_STEP_C
from monitor.core.recipe.conditions import (
    Condition,
    always,
    both,
    closed_vessel,
    colour,
    dark_baths,
    data_told,
    drum,
    has,
    infrared,
    none_of,
    on_paper,
    open_vessel,
    paper,
    sheets,
    steered,
    tray,
)
from monitor.core.recipe.data_range import KNOWN_BELOW
from monitor.core.recipe.values import Recipe
from monitor.core.text.doubt import two_sd
from monitor.core.text.quantities import format_number

AskedOf = Literal["person", "machine"]
Part = Literal["solutions", "probes", "station", "room", "dark", "hands"]

PARTS: dict[Part, str] = {
    "solutions": "Solutions, in the light",
    "probes": "Probes",
    "station": "The station itself",
    "room": "Clock and ways out",
    "dark": "The dark list, read aloud before the light goes out",
    "hands": "Last",
}
"""The parts in order, with their headings."""

TEMPER_FIRST = "Temper it first (evenbath temper)."
"""What to do about a developer outside the recipe's data."""
EXCHANGE = "put each into the other's liquid, or exchange their ids in the station file and start the station again"
"""What to do about two probes that are swapped."""
FREE_MIB = 50
"""A session of an hour writes about 2 MiB of journal; this is room for a night of them (own measurement)."""


@dataclass(frozen=True, slots=True)
class Item:
    """One question with the answer yes or no; yes is good.

    `asked_of` machine: the station checks it, and `--waive` does not skip it; person: it must be asked. `if_no`: what a no
    means, and what to do. `stops`: a no withholds the start (a person's no can be waived with a reason, which is
    recorded). `applies`: the recipes it belongs to. In `text` and `if_no`, {place}, {goes_in}, {medium}, {vessel} and {wash} stand for the
    recipe's own words (`items_for`).
    """

    id: str
    part: Part
    asked_of: AskedOf
    stops: bool
    applies: Condition
    text: str
    if_no: str


ITEMS: tuple[Item, ...] = (
    Item(
        "plan", "solutions", "person", True, always,
        "Is this the right recipe for this film or paper: dilution, minutes, and what differs from last time, all read back?",
        "Stop here and take the right recipe; a wrong plan cannot be put right later.",
    ),
    Item(
        "jugs", "solutions", "person", True, always,
        "Are the {place}s lined up from left to right in the order of the card, each with a mark you can feel?",
        "Put them in order first: fixer or bleach before the developer leaves nothing to develop.",
    ),
    Item(
        "parts", "solutions", "person", True, has("develop"),
        "Is there enough developer for the vessel and for the whole area, and if it comes in parts, are all of them in it?",
        "Mix it again: a developer in two parts develops nothing without the second.",
    ),
    Item(
        "leader", "solutions", "person", True, both(has("develop"), none_of(colour, paper)),
        "Does a piece of film leader, or a snip of the same film, turn dark in this developer, in less than twice the fresh time?",
        "From twice the fresh time the developer counts as dead: mix fresh. If it was never tested, you take a known risk.",
    ),
    Item(
        "paper strip", "solutions", "person", True, both(paper, has("develop")),
        "Does a strip of this paper, lit and dipped, turn black in this developer in about the usual time?",
        "The developer is cold or dead: warm it or mix fresh. A grey that stays grey cannot be saved by waiting.",
    ),
    Item(
        "clearing", "solutions", "person", True, both(has("fix"), none_of(colour, paper)),
        "Has the fixer been tested today, and does the recipe fix for twice its clearing time, three times for flat-grain film?",
        "Test it (evenbath clearing); from twice the fresh clearing time on, discard it.",
    ),
    Item(
        "wash water", "solutions", "person", False, has("wash"),
        "Is the wash water within 3 C of the baths before it (near {wash}), and never below 10 C?",
        "Mix in warm water, or stand a bucket of it ready: cold water hardly washes, and a large step may wrinkle the gelatine.",
    ),
    Item(
        "funnels", "solutions", "person", True, has("bleach", "bleach-fix"),
        "Does each solution have its own funnel and jug, and is the bleach well away from the developer?",
        "Separate them: a few drops of bleach or fixer ruin a developer.",
    ),
    Item(
        "circulation", "solutions", "person", True, colour,
        "Is the bath covered and circulating, and do two depths agree?",
        "A still bath is uneven by 0.5 C to 1 C: stir or circulate it, then check again.",
    ),
    Item(
        "prewarm drum", "solutions", "person", True, both(drum, has("develop")),
        "Is the drum as warm as the developer will be: by a water presoak, or dry, closed and turned in the warm bath for five minutes?",
        "Warm it first, one way or the other: a cold drum cools the developer by a degree or more at once.",
    ),
    Item(
        "prewarm", "solutions", "person", True, both(closed_vessel, none_of(drum), has("develop")),
        "Is the tank, with its reel, as warm as the developer will be?",
        "A cold tank cools the developer by a degree or more at once: pre-warm it for a few minutes.",
    ),
    Item(
        "gloves", "solutions", "person", True, always,
        "Nitrile gloves, not powdered, on or at hand, goggles for concentrates, room aired, no food in the room?",
        "Get them first. Local codes and the maker's safety data sheets take precedence.",
    ),
    Item(
        "probes", "probes", "machine", True, always,
        "Does every probe of the station answer with a plausible temperature?",
        "Check its plug and lead; without a developer or witness probe the time does not follow measurements.",
    ),
    Item(
        "roles", "probes", "person", True, always,
        "If you lift the probes one after the other, does the reading change that you expect to change?",
        f"Two probes are swapped. Before the start, {EXCHANGE}.",
    ),
    Item(
        "agree", "probes", "person", False, always,
        "In the same stirred water, do the probes agree within 0.2 C?",
        "One of them is wrong, and nobody knows which: compare them (evenbath compare).",
    ),
    Item(
        "compared", "probes", "machine", False, always,
        f"Has the developer's probe been compared at this temperature lately (a year; {COLOUR_DAYS} days for colour)?",
        f"Not compared: the session may run, its temperature known to +/- {two_sd(NOT_COMPARED_SD_C):.1f} C (2 sd), and view and record say"
        ' "not compared"; for colour "not verified".',
    ),
    Item(
        "register", "probes", "machine", False, always,
        f"Does each probe step by {DATASHEET_STEP_C} C, as its data sheet says?",
        "It is set to fewer bits, or it is a clone; between its steps it says nothing. Take a better one for the developer.",
    ),
    Item(
        "witness", "probes", "machine", False, steered,
        "Has it been shown, with used developer, that the witness speaks for it?",
        f"Until it has, it counts as +/- {two_sd(WITNESS_SD_C):.1f} C at best. Measure what you pour off within a minute, and tell it"
        " afterwards (evenbath lag --poured-off).",
    ),
    Item(
        "data", "probes", "person", True, data_told,
        "Is the developer's temperature within the recipe's data, and will it stay there?",
        f"{TEMPER_FIRST} Outside the data the rate is three times as uncertain; {KNOWN_BELOW}.",
    ),
    Item(
        "lag", "probes", "machine", False, both(closed_vessel, steered),
        "Is there a witness vessel, or a learned lag of this vessel?",
        "The bath is not the developer: temperature will not move the time, and the station says so.",
    ),
    Item(
        "disk", "station", "machine", True, always,
        f"Is there room for the journal (at least {FREE_MIB} MiB free)?",
        "Make room on the card; otherwise the session would run, but its record would be lost.",
    ),
    Item(
        "clock", "station", "machine", False, always,
        "Is the wall clock right, or do you at least know that it is not?",
        "Dates in the record may be wrong; the timing does not depend on it.",
    ),
    Item(
        "power", "station", "machine", False, always,
        "Is the board free of under-voltage and throttling?",
        "Change the supply or the cable: a board that restarts in the dark lights lamps.",
    ),
    Item(
        "switch", "station", "machine", True, always,
        "Does the foot switch work, both open and pressed?",
        "Without it every begin is assumed and nothing can be answered; to run without one, leave it out of the station file.",
    ),
    Item(
        "sounder", "station", "person", True, always,
        "With the tap running: it sounds one to four counts, you tap the same number, three times right?",
        "Move it nearer to your head, or use another sounder: a cue that nobody hears is useless.",
    ),
    Item(
        "meanings", "station", "person", False, always,
        "Do you know the four sounds that come unasked: tick (move), long (READY), fast (NOW), limping (FAULT: go on by the second clock)?",
        "Learn them: evenbath lesson sounds; then evenbath lesson dry-run, with scrap film in white light.",
    ),
    Item(
        "second clock", "room", "person", True, always,
        "Is a second clock ready that needs neither this board nor the mains, to be started {goes_in}?",
        "Get one: a clockwork kitchen timer will do. It must not glow in the dark.",
    ),
    Item(
        "way out", "room", "person", True, dark_baths,
        "Floor dry, no leads to trip over, light cord within reach for the end, and somebody knows that you are in there?",
        "Take care of it before the light goes out.",
    ),
    Item(
        "alarms", "room", "person", True, always,
        "Are the smoke and gas alarms of the house in working order and not silenced?",
        "Put them back first. Cover an alarm's lamp if you must, never the alarm itself; this tool is not an alarm.",
    ),
    Item(
        "box", "dark", "person", True, dark_baths,
        "Is the board in its opaque box, glands and lid light-tight, no screen attached?",
        "Nothing may lie bare without it: start-up and restart light lamps before any program runs.",
    ),
    Item(
        "board lamps", "dark", "person", True, dark_baths,
        "Are the board's power, activity and network lamps, and those of supply and hub, covered or off?",
        "Cover them: a setting alone does not survive a restart.",
    ),
    Item(
        "phone", "dark", "person", True, dark_baths,
        "Phone out of the room, watch off your wrist?",
        "Take them out: a call or a turn of the wrist lights them.",
    ),
    Item(
        "standby", "dark", "person", True, dark_baths,
        "Modem, charger, screens and their standby lamps, keyboard lamps, neon lamps in extension leads: out or covered?",
        "Unplug or cover them.",
    ),
    Item(
        "machines", "dark", "person", True, dark_baths,
        "Heater thermostat, circulator display, washing machine panel: dark or covered?",
        "Cover them with something that does not burn.",
    ),
    Item(
        "detector", "dark", "person", True, dark_baths,
        "Smoke detector: its lamp covered, the alarm itself left alone?",
        "Cover the lamp. Never silence or remove a smoke or gas alarm.",
    ),
    Item(
        "gaps", "dark", "person", True, dark_baths,
        "Gaps of the door, keyhole and window: taped, and checked from where you will work?",
        "Tape them, or wait for the night.",
    ),
    Item(
        "tubes", "dark", "person", True, dark_baths,
        "Fluorescent and white LED lamps off for five minutes, so that they no longer glow?",
        "Wait: five minutes for the lamps, ten for your eyes.",
    ),
    Item(
        "tested dark", "dark", "person", False, dark_baths,
        "Has this room been tested for this kind of material in the last six months, and nothing changed since?",
        'Then it counts as never tested: do the coin test (evenbath darkness), or take a known risk.',
    ),
    Item(
        "loading", "dark", "person", True, both(has("load"), none_of(dark_baths)),
        "Loading: a changing bag, or a room without any glow, with this tool in its box or elsewhere, phone and watch out?",
        "Loading bares the {medium} too, and that is most often forgotten: check before you open can or box.",
    ),
    Item(
        "safelight", "dark", "person", True, both(paper, dark_baths),
        "The safelight: the colour that this paper's sheet names, no white gaps, at least 1.2 m from trays and easel, and tested?",
        "Leave it off, or test it first (evenbath darkness guide --film paper): a light that looks right may still fog.",
    ),
    Item(
        "infrared", "dark", "person", True, infrared,
        "No infrared: no remote control, motion detector, security camera, reflective switch, proximity sensor?",
        "Invisible light is light for this film: take them out.",
    ),
    Item(
        "infrared tight", "dark", "person", True, infrared,
        "Black plastic and black cloth may let infrared through: are tank, lid, changing bag and cassette known to keep it out?",
        "Load in a dark room rather than in a bag, wrap the closed tank in aluminium foil, and test with a piece of this film first.",
    ),
    Item(
        "lid", "hands", "person", True, closed_vessel,
        "Is this tank or drum known to be light-tight, its lid whole, and the filling hole covered if need be?",
        "Test it with a lamp inside in a dark room; until then count on light getting in.",
    ),
    Item(
        "dry", "hands", "person", False, both(closed_vessel, has("load"), none_of(on_paper)),
        "Hands dry, and reel or drum too?",
        "Dry them; a wet reel sticks.",
    ),
    Item(
        "dry drum", "hands", "person", False, both(closed_vessel, has("load"), on_paper),
        "Hands dry, and the {vessel} dry inside?",
        "Dry them: paper sticks to a wet wall.",
    ),
    Item(
        "rolling", "hands", "person", False, drum,
        "Does the drum roll freely, and does its roller base reverse by itself, or do you turn it by hand?",
        "Check the rollers first.",
    ),
    Item(
        "sheets", "hands", "person", True, sheets,
        "Sheets counted, the first one marked so that you can feel it, all emulsion up?",
        "Count again in the dark before the presoak.",
    ),
    Item(
        "tanks", "hands", "person", True, both(open_vessel, none_of(tray)),
        "Solution deep enough in each tank to cover hanger and {medium}, dry side away from wet side, probe behind its guard?",
        "Set them out again in the light.",
    ),
    Item(
        "trays", "hands", "person", True, tray,
        "Solution at least 15 mm deep in each tray, trays in a fixed order, dry side away from wet side, probe behind its guard?",
        "Set them out again in the light.",
    ),
)  # fmt: skip


def items_for(recipe: Recipe) -> tuple[Item, ...]:
    """The checklist for one recipe, in the order of asking, in its own words; items for the machine and for a person are mixed."""
    washes = {f"{format_number(stage.reference_c)} C": None for stage in recipe.stages if stage.role == "wash"}
    own = {
        "place": recipe.place, "goes_in": recipe.goes_in, "medium": recipe.medium, "vessel": recipe.vessel, "wash": " or ".join(washes),
    }  # fmt: skip
    return tuple(
        replace(item, text=item.text.format_map(own), if_no=item.if_no.format_map(own)) for item in ITEMS if item.applies(recipe)
    )
