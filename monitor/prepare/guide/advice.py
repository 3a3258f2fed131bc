"""What a beginner asks before and after the first film: what to buy, the water, the drying, ways of developing, hazards. Data.

Each topic has its answer first; each piece of advice has its reason. What hurts is said in the words of monitor.prepare.cautions.
The source of every statement stands in the test beside it. Nothing here names a maker or a product.
Tests: tests/prepare/guide/test_advice.py.
"""

from __future__ import annotations

from dataclasses import dataclass

from monitor.prepare.cautions import CAUTIONS, RULE


@dataclass(frozen=True, slots=True)
class Advice:
    """`what` to take, to do or to leave; `why`: its reason, a whole sentence or two, empty where `what` says it."""

    what: str
    why: str

    def __str__(self) -> str:
        return f"{self.what}{'' if self.what.endswith(':') else '.'} {self.why}".rstrip()


@dataclass(frozen=True, slots=True)
class Topic:
    """`says`: one line for a list; `answer`: what to do, first of all; `parts`: headings, each with its advice."""

    title: str
    says: str
    answer: str
    parts: tuple[tuple[str, tuple[Advice, ...]], ...]


def _caution(id: str) -> str:
    """The text of a caution: `guide hazards` says what plan, card and label say."""
    return next(caution.text for caution in CAUTIONS if caution.id == id)


def _first(text: str) -> str:
    """The first sentence, without its full stop."""
    return text.partition(". ")[0].rstrip(".")


def _rest(text: str) -> str:
    """What follows it; empty where there is nothing more."""
    return text.partition(". ")[2]


TOPICS: dict[str, Topic] = {
    "shopping": Topic(
        "A first list",
        "what you need for a first film, what can wait, what from the kitchen will not do",
        "For a first film: a tank with its reel, a changing bag, developer and fixer, a thermometer, a syringe and a jug, gloves and"
        " goggles.",
        (
            (
                "Get now",
                (
                    Advice("A tank with lid and reel", "Once the lid is on, you work in the light."),
                    Advice("A changing bag", "Loading is the only step in the dark, and few rooms are dark enough."),
                    Advice("A roll of film to waste", "Load it in the light until it is easy, then with your eyes shut."),
                    Advice("A liquid developer, used once", "Fresh each time, it cannot be worn out. No dust flies when you measure it."),
                    Advice("Fixer", "Without it the pictures darken in the light. It serves for many films; test it before each."),
                    Advice("Wetting agent", "A few drops in the last bath, and the water runs off and leaves no spots."),
                    Advice("A thermometer, good to half a degree", "One degree changes the developing time by almost a tenth."),
                    Advice("A syringe or a narrow 25 ml measure", "For the concentrate. In a large jug nobody can tell 16 ml from 30."),
                    Advice("A jug of 600 ml or more, and two bottles", "With labels, and for this alone."),
                    Advice("Nitrile gloves without powder", "Some developers make the skin allergic for good. Powder marks the film."),
                    Advice("Goggles", "For concentrates and powders: a splash in the eye is an emergency."),
                    Advice("Two clips, one of them heavy", "One to hang the film by, one to keep it from curling."),
                    Advice("A clock with a second hand", "One that needs no mains, in case everything else stops."),
                    Advice("Scissors, and something to open the cassette", "You use both inside the bag, by touch."),
                    Advice("The safety sheet of each chemical", "Read it before you open the bottle. It rules over all that is said here."),
                ),
            ),
            (
                "Can wait",
                (
                    Advice("Stop bath", "Two changes of plain water will do. The fixer then wears out a little sooner."),
                    Advice("Wash aid", "It saves water and time, but a longer wash does the same."),
                    Advice("Probes and a board for this program", "For a first film a thermometer and a clock will do."),
                    Advice("A drum, a heated bath", "You need them for colour. Black and white is done at room temperature."),
                    Advice("Distilled water by the crate", "One litre, for the last bath, lasts for several films."),
                    Advice("An enlarger or a scanner", "To see what you have, hold the negative against a bright window."),
                ),
            ),
            (
                "From the kitchen: no",
                (
                    Advice("Jugs, spoons and funnels that go back to cooking", "What stays in a scratch or a seam is eaten later."),
                    Advice("Drink bottles", "Somebody will drink from them."),
                    Advice("A meat or jam thermometer", "It may be two degrees out, and here that is a fifth of the time."),
                    Advice("Washing-up liquid as wetting agent", "Its scent, dye and skin cream dry on the film."),
                    Advice("Pots of aluminium, copper or zinc", "Acid and fixer eat them, and the metal spoils the developer."),
                    Advice("Paper towels on wet film", "Their fibres stick to it and scratch it."),
                    Advice("Household bleach, to clean up", "With fixer or any acid it gives off poisonous gas."),
                    Advice("A red bulb", "Ordinary film sees red. Only paper and some special films do not."),
                    Advice("The fridge, beside the food", "Chemicals do not belong where food is kept."),
                    Advice("White vinegar of 5 % is the exception", "In three parts of water it makes a stop bath that works and smells."),
                ),
            ),
        ),
    ),
    "water": Topic(
        "Water",
        "hard and soft water, and where it matters",
        "Tap water will do for almost everything. Use distilled water for the last bath.",
        (
            (
                "Hard water",
                (
                    Advice("Find out how hard it is", "Your supplier publishes it. Type it in: evenbath guide water --hardness \"14 dH\"."),
                    Advice("The last bath: distilled water and wetting agent", "Drops of hard water leave chalky rings as they dry."),
                    Advice("The developer: distilled, if it turns cloudy", "The cloud is lime. It settles on the film as fine grit."),
                    Advice("Boiling helps a little", "It takes out part of the lime. Let it cool and settle, and pour off what is clear."),
                    Advice("The wash: tap water, always", "The last bath takes away what it leaves."),
                ),
            ),
            (
                "Other water",
                (
                    Advice("Very soft water: handle the film gently", "Gelatine swells more in it and scratches more easily."),
                    Advice("From a softener with salt: for washing only", "Mix with water from before it, or with distilled water."),
                    Advice("Rusty or sandy: through a coffee filter", "A grain in the layer stays there, and iron spoils developer."),
                    Advice("From the hot tap: let it run, or use a kettle", "What stood in copper pipes and boiler can spoil developer."),
                    Advice("Full of fine bubbles: let it stand", "They settle on the film as small clear spots."),
                    Advice("Chlorine: leave it", "What is in drinking water does no harm."),
                ),
            ),
        ),
    ),
    "drying": Topic(
        "Drying",
        "dust, heat and curl",
        "Hang it at full length with a weight below, in a still, dust-free room, without heat, and leave it alone for one to four hours.",
        (
            (
                "Dust",
                (
                    Advice("In the bathroom, after a hot shower has run", "Steam brings the dust down. Then shut the door and stay out."),
                    Advice("No fan and no hair dryer", "They blow dust at the film while it is soft, and there it stays."),
                    Advice("Do not wipe it", "One grain under a finger, a cloth or a squeegee scratches it from end to end."),
                    Advice("Nowhere near a carpet or a pet", "Both make dust all day."),
                ),
            ),
            (
                "Heat",
                (
                    Advice("Between 20 C and 30 C", "Warmer, it curls, and the edges dry before the middle."),
                    Advice("Never change the warmth while it dries", "Where it was still wet, a line remains that does not wash out."),
                    Advice("No oven, no radiator, no sun", "Wet gelatine melts or wrinkles."),
                ),
            ),
            (
                "Curl",
                (
                    Advice("A heavy clip at the lower end", "It dries straight."),
                    Advice("Cut it only when it is dry to the edges", "A film that is still tacky sticks to its sleeve."),
                    Advice("In its sleeve under a book overnight", "It lies flat after that. Rolling it backwards scratches it."),
                    Advice("Sheets: each on its own clip by a corner", "Two that touch stick together for good."),
                    Advice("Very dry winter air: a wet towel in the room", "In dry air film curls more and pulls dust towards it."),
                ),
            ),
            (
                "If it dried badly",
                (Advice("Drops, rings, dust: wash again for five minutes", "Then the last bath, and dry it again. Most marks go."),),
            ),
        ),
    ),
    "ways": Topic(
        "Ways of developing",
        "which blank to begin with, what each way is good for and what it costs",
        "Begin with the blank roll, one developer used once. Take another way when you know what you want from it.",
        (
            (
                "To begin with",
                (
                    Advice("roll:", "One film in a lidded tank, developer used once. Nothing to remember from last time."),
                    Advice("bench:", "The same without a water bath, where the room is near 20 C."),
                    Advice("monobath:", "One bath, hard to spoil, and nothing to choose: its warmth decides the contrast."),
                    Advice("replenished:", "One bottle for months, topped up after each film. Worth it from a film a week on."),
                ),
            ),
            (
                "For high contrast",
                (
                    Advice("two-bath:", "The first bath soaks or develops, the second finishes: read which your kit does."),
                    Advice("water-bath:", "Developer and still water in turn. For thick, old-fashioned films: thin ones soak up little."),
                    Advice("stand:", "An hour, hardly moved. Easy on the hands, but streaks are its price."),
                ),
            ),
            (
                "Sheets, drums, prints",
                (
                    Advice("sheets:", "Trays in total darkness, one sheet after another. Try it with scrap film in the light."),
                    Advice("drum:", "Little liquid, turned all the time; the times are shorter."),
                    Advice("print:", "Paper in trays, developed by the time of its first trace."),
                    Advice("colour-print:", "Colour paper in a drum, in short warm steps."),
                ),
            ),
            (
                "Positives and colour",
                (
                    Advice("bw-reversal:", "A positive on the film itself. Its bleach is dangerous: evenbath guide hazards."),
                    Advice("colour-two-step:", "Colour negatives with two baths. A kit does several films, each by its own table."),
                    Advice("colour:", "The same in more baths: bleach and fixer apart, so each can be renewed."),
                    Advice("reversal-three-step:", "Colour slides in three baths. Half a degree shows."),
                    Advice("reversal:", "Colour slides in all their baths, for those who do many."),
                ),
            ),
        ),
    ),
    "hazards": Topic(
        "Hazards",
        "the chemicals that hurt most, before you buy them",
        "Buy liquids, wear nitrile gloves and goggles, open a window, and leave dichromate, permanganate and powders for later years.",
        tuple(
            (heading, tuple(Advice(_first(text), _rest(text)) for text in texts))
            for heading, texts in (
                ("Developers", (_caution("sensitisers"), _caution("colour agents"))),
                ("Reversal bleach", (_caution("reversal bleach"),)),
                ("Other powders", (_caution("hydroxide"), _caution("persulphate"))),
                ("Toner", (_caution("selenium"),)),
                ("Gases", (_caution("gases"), _caution("acid into water"), _caution("asthma"))),
                ("Everywhere", (_caution("powders"), _caution("kitchen"), _caution("eyes"), _caution("pregnancy"), _caution("silver"))),
                ("Above all", (RULE.text,)),
            )
        ),
    ),
}  # fmt: skip
