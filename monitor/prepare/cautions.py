"""Cautions about hands, lungs, eyes, water, mains and light: where each is shown, its source, and which recipes it belongs to. Data.

Decides only what is shown. It is not a safety device, and no substitute for local codes and the maker's safety data sheet,
which end every list. Sources are named beside each text; "common practice, no source" and "from memory, not
verified" mean what they say. No I/O. Tests: tests/prepare/test_cautions.py.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal, get_args

from monitor.core.recipe.conditions import (
    Condition,
    always,
    bare_film,
    both,
    closed_vessel,
    colour,
    drum,
    has,
    infrared,
    none_of,
    open_vessel,
)
from monitor.core.recipe.values import Recipe

Place = Literal[
    "first run", "pre-flight", "before the dark", "mixing", "powders", "cleaning up",
    "tempering", "probes", "wiring", "plan", "wall card", "discard",
]  # fmt: skip

HAZARDS = "M. McCann, Photographic Processing Hazards"
PRACTICE = "common practice, no source"
MEMORY = "from memory, not verified"

SENSITISERS = (
    "pyro", "catechin", "catechol", "amidol", "diaminophenol", "metol", "methylaminophenol", "phenylenediamine", "phenylene diamine", "ppd",
)  # fmt: skip
"""Fragments of names of agents that sensitise the skin or are absorbed by it."""
NAMED: Mapping[str, tuple[str, ...]] = {
    "sensitisers": SENSITISERS,
    "reversal bleach": ("dichromate", "bichromate", "permanganate", "sulphuric", "sulfuric", "reversal bleach"),
    "selenium": ("selenium",),
    "hydroxide": ("hydroxide", "caustic"),
    "persulphate": ("persulphate", "persulfate"),
}
"""Hazards that are known by their name: the caution's id, and fragments of the names."""
CARRY_SILVER = ("bleach", "fix", "bleach-fix")
"""Roles whose used solutions contain silver or iron salts."""
POWDER_WORDS = ("powder", "crystal", "from scratch")


@dataclass(frozen=True, slots=True)
class Caution:
    """One caution: its text in whole sentences, the places where it is shown, and its source. `belongs`: the recipes whose plan has it."""

    id: str
    text: str
    where: tuple[Place, ...]
    source: str
    belongs: Condition


def _words(recipe: Recipe) -> str:
    said = [recipe.name, recipe.what or ""]
    for stage in recipe.stages:
        said += [stage.name, stage.solution or ""]
    return " ".join(said).lower()


def _named(hazard: str, words: str) -> bool:
    return any(fragment in words.lower() for fragment in NAMED[hazard])


def sensitises(recipe: Recipe) -> bool:
    """Whether the recipe's words name one of `SENSITISERS`, or the film is colour (its developing agents sensitise strongly)."""
    return colour(recipe) or _named("sensitisers", _words(recipe))


def strong_bleach(recipe: Recipe) -> bool:
    """Whether its words name a reversal bleach or what it is made of."""
    return _named("reversal bleach", _words(recipe))


def selenium(recipe: Recipe) -> bool:
    """Whether its words name selenium."""
    return _named("selenium", _words(recipe))


def hydroxide(recipe: Recipe) -> bool:
    """Whether its words name a hydroxide."""
    return _named("hydroxide", _words(recipe))


def persulphate(recipe: Recipe) -> bool:
    """Whether its words name a persulphate, or a bleach for colour film may be one."""
    return _named("persulphate", _words(recipe)) or both(colour, has("bleach"))(recipe)


def from_powder(recipe: Recipe) -> bool:
    """Whether something in it may be mixed from powder: its words say so, or a developer is not known to be a diluted concentrate."""
    whole = any(s.role == "develop" and (s.dilution is None or s.dilution.parts_water == 0) for s in recipe.stages)
    return whole or any(word in _words(recipe) for word in POWDER_WORDS)


def _warm(recipe: Recipe) -> bool:
    return any(stage.reference_c >= WARM_BATH_C for stage in recipe.stages)


def _gloves(recipe: Recipe) -> bool:
    return sensitises(recipe) or open_vessel(recipe)


def _probes_in_solutions(recipe: Recipe) -> bool:
    """A probe is dipped into a solution: colour, open vessels, and any stage with a gate."""
    return colour(recipe) or open_vessel(recipe) or any(stage.gate is not None for stage in recipe.stages)


HABITUAL = ("second clock", "kitchen", "acid into water", "gases", "asthma", "eyes", "silver", "no alarm")
"""Ids of those that are the same on every evening with a fixer; the others belong to what is dangerous in one recipe."""
WARM_BATH_C = 30.0
"""From here on hot water comes from the kettle (common practice, no source)."""

CAUTIONS: tuple[Caution, ...] = (
    Caution(
        "opaque box",
        "In total darkness this tool must be inside an opaque box, even with all its lamps off: start-up, restart and a dip of the"
        " mains light lamps and screens before any program runs. Test it before the first session.",
        ("first run", "before the dark", "wiring", "plan"),
        PRACTICE,
        bare_film,
    ),
    Caution(
        "second clock",
        "Keep a second clock that needs neither this board nor the mains.",
        ("pre-flight", "plan", "wall card"),
        PRACTICE,
        always,
    ),
    Caution(
        "sensitisers",
        "Pyrogallol, pyrocatechin, amidol, metol and agents of the p-phenylenediamine kind are taken up by the skin or sensitise"
        " it; once sensitised, always sensitised. Gloves of nitrile, not latex and not powdered; no bare hands in trays; stains show"
        " where you touched. Pyrogallol dust must not be breathed: dust mask when weighing, mixed wet.",
        ("mixing", "powders", "before the dark", "plan", "wall card"),
        f"{HAZARDS}; a note on pyrogallol (nitrile, dust)",
        _gloves,
    ),
    Caution(
        "powders",
        "Weigh and mix powders with the windows open and away from food. Children and pets out of the room; bottles labelled, never"
        " drink bottles.",
        ("mixing", "powders", "plan"),
        HAZARDS,
        from_powder,
    ),
    Caution(
        "kitchen",
        "In a kitchen: jugs, spoons and funnels of their own that never go back to cooking; no eating; wipe down afterwards.",
        ("mixing", "powders", "cleaning up", "plan"),
        HAZARDS,
        always,
    ),
    Caution(
        "acid into water",
        "Acid into water, never water into acid. Glacial acetic acid burns.",
        ("mixing", "plan"),
        HAZARDS,
        has("stop"),
    ),
    Caution(
        "gases",
        "Fixer, sulphite or bisulphite with any acid gives sulphur dioxide; ammonium fixer with household bleach gives chloramines;"
        " stop bath carried into a sulphide toner gives hydrogen sulphide; ferricyanide bleach never with strong acid or heat."
        " Nothing of all this ever with household chlorine bleach: look at the shared laundry shelf.",
        ("mixing", "cleaning up", "plan"),
        f"sulphur dioxide: {HAZARDS}; the rest {MEMORY}",
        has("stop", "bleach", "fix", "bleach-fix"),
    ),
    Caution(
        "asthma",
        "Asthma: acid fixer and stop bath give off fumes. Change the air (ten room changes an hour is common advice); a room closed"
        " for the dark is a closed room.",
        ("mixing", "before the dark", "plan"),
        f"fumes: {HAZARDS}; ten changes: {PRACTICE}",
        has("stop", "fix", "bleach-fix"),
    ),
    Caution(
        "eyes",
        "Eyes: goggles when pouring concentrates. A splash: rinse with running water for 15 minutes and call poison advice.",
        ("mixing", "wall card", "plan"),
        HAZARDS,
        always,
    ),
    Caution(
        "colour agents",
        "Colour developer agents sensitise strongly. A stabiliser that gives off formaldehyde needs fresh air and gloves.",
        ("mixing", "plan", "wall card"),
        f"agents: {HAZARDS}; stabiliser: {MEMORY}",
        colour,
    ),
    Caution(
        "mains and water",
        "Board, supply and circulator on a residual-current device; supply outside the splash, with a drip loop, never on the wet"
        " side; only extra-low voltage at the bath. Hands dry before a plug; a heater is never run dry. A probe lead is not an earth.",
        ("first run", "wiring", "pre-flight", "plan"),
        MEMORY,
        always,
    ),
    Caution(
        "hot water",
        "Pour kettle water in away from the vessel. It scalds, and a bath at 38 C to 60 C does so sooner than you think.",
        ("tempering", "plan"),
        PRACTICE,
        _warm,
    ),
    Caution(
        "probe metal",
        "In solutions only seamless 316 steel, glass, or a sleeve of PTFE, FEP or PP: no brass, copper, solder, galvanised iron or"
        ' aluminium. Cheap "stainless" tubes may be poor steel with an open crimp: sleeve them; bleach attacks steel. One probe, one'
        " solution, rinsed between. Bubbles put air into developer: circulate the bath, never the developer.",
        ("probes", "plan"),
        PRACTICE,
        _probes_in_solutions,
    ),
    Caution(
        "dark room",
        "No leads to trip over, no climbing, floor dry. Somebody knows that you are in there; the door opens from inside, and from"
        " outside in an emergency; the light cord within reach, at the end only.",
        ("before the dark", "plan"),
        PRACTICE,
        both(bare_film, open_vessel),
    ),
    Caution(
        "reversal bleach",
        "Dichromate causes cancer and makes the skin allergic; permanganate sets fire to what burns, and its crystals explode with strong"
        " acid: dissolve them first. Sulphuric acid burns skin and eyes: slowly into cold water, never water into it. Goggles, apron,"
        " nitrile gloves that are not powdered, an open window. Never mix it with developer, clearing bath, glycerine, alcohol or household"
        " bleach. Collect it, and follow your local code.",
        ("mixing", "plan", "wall card", "discard"),
        MEMORY,
        strong_bleach,
    ),
    Caution(
        "selenium",
        "Selenium toner is poisonous through skin and lungs, and smells of ammonia: gloves that are not powdered, an open window, no bare"
        " fingers in the tray, not in the kitchen. Never with acid: that gives off a poisonous gas. Collect it; follow your local code.",
        ("mixing", "plan", "wall card", "discard"),
        MEMORY,
        selenium,
    ),
    Caution(
        "hydroxide",
        "Sodium and potassium hydroxide burn skin and blind eyes: goggles, gloves that are not powdered, an open window. A little at a"
        " time into plenty of cold water, stirred; never water onto it, never into warm water, no vessel of aluminium. Never mix it with an"
        " acid. Collect what is left; follow your local code.",
        ("mixing", "powders", "plan", "discard"),
        MEMORY,
        hydroxide,
    ),
    Caution(
        "persulphate",
        "Persulphate, which some colour bleaches are made of, feeds fire and makes skin and lungs allergic: keep it dry and away from what"
        " burns, raise no dust, wear gloves that are not powdered, open a window. Never mix it with developer, fixer or acid. Collect it;"
        " follow your local code.",
        ("mixing", "powders", "plan", "discard"),
        MEMORY,
        persulphate,
    ),
    Caution(
        "bleach-fix gas",
        "A bleach-fix gives off gas in a closed tank: loosen the cap after each movement, away from your face.",
        ("plan", "wall card"),
        PRACTICE,
        both(has("bleach-fix"), closed_vessel, none_of(drum)),
    ),
    Caution(
        "bleach-fix gas in a drum",
        "A bleach-fix gives off gas in a closed drum: open it away from your face.",
        ("plan", "wall card"),
        PRACTICE,
        both(has("bleach-fix"), drum),
    ),
    Caution(
        "infrared",
        "Infrared is light to this film, and no eye sees it: black plastic, black cloth and the felt of a cassette may let it through."
        " Load and unload in the dark, keep the tank in foil, and test what you have with a piece of the film.",
        ("before the dark", "plan"),
        PRACTICE,
        infrared,
    ),
    Caution(
        "silver",
        "Used fixer and bleach-fix carry silver, colour bleaches iron salts: collect them and follow your local rules; never into a"
        " septic tank.",
        ("discard", "cleaning up", "plan"),
        MEMORY,
        has(*CARRY_SILVER),
    ),
    Caution(
        "no alarm",
        "This tool guides development, not health: it is not a gas or fire alarm, and its sounds are not an alarm's.",
        ("first run", "wall card", "plan"),
        "design of this project",
        always,
    ),
    Caution("pregnancy", "Pregnancy: avoid powders.", ("mixing", "powders", "plan"), HAZARDS, from_powder),
)

RULE = Caution(
    "the rule",
    "Your local codes and the maker's safety data sheets come before all of this: read the sheet of each product before you open it.",
    get_args(Place),
    "design of this project",
    always,
)


def cautions_for(recipe: Recipe) -> tuple[Caution, ...]:
    """The cautions for a recipe's plan and card; the rule about local codes and data sheets always comes last."""
    return (*(c for c in CAUTIONS if "plan" in c.where and c.belongs(recipe)), RULE)


def cautions_at(place: Place) -> tuple[Caution, ...]:
    """All cautions for one place, whatever the recipe; the rule last."""
    return (*(c for c in CAUTIONS if place in c.where), RULE)


def named_hazards(words: str) -> tuple[Caution, ...]:
    """The cautions for what these words name: a bottle's name and what is in it."""
    return tuple(c for c in CAUTIONS if c.id in NAMED and _named(c.id, words))


def discard_cautions(role: str | None, words: str = "") -> tuple[Caution, ...]:
    """The cautions for throwing away a solution with this role, called so; none if it has neither silver nor a hazard that is named."""
    silver = tuple(c for c in CAUTIONS if c.id == "silver" and role in CARRY_SILVER)
    return (*silver, *(c for c in named_hazards(words) if "discard" in c.where))
