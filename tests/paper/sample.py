"""Invented content for the paper tests: 36 copper tiles in a sulfide dip. Not measured on anything."""

from __future__ import annotations

import math
import random
from datetime import date

from tilestudy.paper.content import (
    Best,
    Board,
    BoardRow,
    Caution,
    Drivers,
    Fact,
    Handout,
    Interaction,
    Level,
    Line,
    MainEffects,
    Masthead,
    Panel,
    Protection,
    Swatch,
    TilePoint,
)
from tilestudy.paper.pack_content import (
    BatchLabel,
    BatchMix,
    BenchPack,
    Due,
    MeasureSheet,
    Mixing,
    MixLine,
    RubSheet,
    RunBatch,
    RunRow,
    Session,
)

MASTHEAD = Masthead(
    study="house-plaques",
    title="House-number plaques: a dark brown that lasts",
    question="How dark can a copper plaque be made in a sulfide dip, and will it survive handling?",
    studio="Lane Workshop",
    fingerprint="3f9a-c21e",
    printed=date(2026, 3, 7),
    invented=True,
)
STRENGTHS, DIPS, CYCLES = (1, 3, 9), (10, 30, 90), (1, 4)
BATHS = (("B1", 1, 3), ("B2", 1, 1), ("B3", 1, 9), ("B4", 2, 9), ("B5", 2, 3), ("B6", 2, 1))
CODE_LETTERS = "ACDEFHJKLMNPRTUVWX"


def tiles() -> list[dict[str, object]]:
    """The 36 tiles with their settings, an invented L*, colour and grade."""
    rng = random.Random(7)
    codes = [f"{letter}{digit}" for letter in CODE_LETTERS for digit in "23"]
    made: list[dict[str, object]] = []
    for bath, session, strength in BATHS:
        grid = [(dip, cycles) for dip in DIPS for cycles in CYCLES]
        rng.shuffle(grid)
        luck = rng.gauss(0, 2)
        for order, (dip, cycles) in enumerate(grid, start=1):
            stage = 8 * math.log(strength) + 6 * math.log(dip / 10) + 7 * (cycles > 1)
            lightness = max(18.0, 66 - stage + luck + rng.gauss(0, 2))
            grade = 4.7 - 0.55 * math.log(strength) - 0.2 * math.log(dip / 10) + 0.5 * (cycles > 1) + rng.gauss(0, 0.3)
            warm = max(0.0, (lightness - 15) / 55)
            red, green, blue = (int(v) for v in (35 + 170 * warm, 28 + 100 * warm**1.2, 26 + 70 * warm**1.4))
            made.append(
                {
                    "code": codes[len(made)],
                    "bath": bath,
                    "session": session,
                    "order": order,
                    "strength": strength,
                    "dip": dip,
                    "cycles": cycles,
                    "L": lightness,
                    "colour": f"#{red:02x}{green:02x}{blue:02x}",
                    "grade": min(5.0, max(1.0, round(grade * 2) / 2)),
                }
            )
    return made


TILES = tiles()
CODES = tuple(str(tile["code"]) for tile in TILES)
CAUTIONS = (
    Caution(
        "Never let acid near a sulfide bath",
        "Pickle, vinegar or any acid in the same bath, bucket or jar sets free hydrogen sulfide, a poisonous gas that "
        "dulls the nose. Rinse in water between pickle and bath; keep tongs apart.",
        "NIOSH ceiling 10 ppm (10 min), IDLH 100 ppm: PMC5777517, Table 3. Limits change; local rules prevail.",
    ),
    Caution(
        "Work under extraction",
        "The bath gives off a little gas even without acid. The smell is no measure of it: the nose tires.",
        "DOT/FAA/AM-00/34 (2000).",
    ),
    Caution(
        "A cloudy bath is spent",
        "Do not strengthen it: discard it by the local rule and mix a fresh one.",
        "Common practice, no source.",
    ),
    Caution("Unsealed patina", "Not for skin or food until it is sealed.", "Common practice, no source."),
)
PROTECTION = (
    Protection("Mixing and dipping", "goggles, nitrile gloves, apron, extraction on", "alkaline splashes; gas"),
    Protection("Scrubbing", "goggles, gloves", "splashes from the brush"),
    Protection("Rub test", "clean cotton gloves", "fingers stain the tile"),
)
FIRST_AID = (
    "Splash in the eye: rinse with water for 15 minutes and call for help. Feeling unwell near the bath: out into fresh "
    "air, call the emergency number. Keep the safety data sheet on the bench."
)


def bench_pack() -> BenchPack:
    """The whole bench pack of the first of two sessions."""
    grams = {1: "0.5 g", 3: "1.5 g", 9: "4.5 g"}
    batches, mixes = [], []
    for bath, session, strength in BATHS:
        if session != 1:
            continue
        mine = [tile for tile in TILES if tile["bath"] == bath]
        plan = [(str(tile["code"]), f"{tile['dip']}", f"{tile['cycles']}", False) for tile in mine]
        for place, letter in ((0, "X"), (4, "Y"), (8, "Z")):
            plan.insert(place, (f"{letter}{bath[1]}", "30", "1", True))
        rows = tuple(
            RunRow(order, code, (dip, cycles), reference, start=f"19:{order:02d}")
            for order, (code, dip, cycles, reference) in enumerate(plan, start=1)
        )
        batches.append(
            RunBatch(
                BatchLabel(
                    code=bath,
                    kind="bath",
                    tiles=len(rows),
                    settings=(Fact("strength", f"{strength} g/L"), Fact("volume", "0.5 L"), Fact("at", "20 °C")),
                    blanks=("made at (time)", "by", "use until (time)", "out of use at"),
                    discard="when cloudy, or 4 h after mixing",
                    live="clear, yellow to green, strong sulfur smell",
                    spent="cloudy yellow, then white; white sediment",
                    never="NO ACID: no pickle, no vinegar, no pickle tongs",
                    hazards=("Gives off hydrogen sulfide with acid.", "Irritates skin and eyes."),
                ),
                rows,
                note="ready by 19:00",
            )
        )
        line = MixLine(f"Weigh potassium polysulfide {grams[strength]}.", "on a 0.1 g scale: good to about 10 %")
        mixes.append(BatchMix(bath, f"strength {strength} g/L", (line,), "19:00"))
    order = list(CODES)
    random.Random(3).shuffle(order)
    return BenchPack(
        masthead=MASTHEAD,
        metal="Copper C11000, 24 gauge (0.51 mm), 25 × 50 mm, sheet lot 7",
        process="Sulfide dip (potassium polysulfide)",
        session=Session(
            1,
            2,
            ("dip time, s", "scrub cycles"),
            tuple(batches),
            ("actual dip, s",),
            slot="18:30 to 21:00",
            times=(Fact("18:30", "set up"), Fact("19:00", "first dip"), Fact("20:45", "clear up")),
            if_late=("Leave out X1, Y1 and Z1 first.",),
        ),
        mixing=Mixing(
            "Make it",
            tuple(mixes),
            ("Stir into cool water until nothing is left on the bottom.", "Fresh bath: clear, pale yellow."),
            (MixLine("Stock: 9 g in 1 L."),),
            "what went in",
        ),
        signed=("A rule: signed by AB, because the room is empty.",),
        wastes=("sulfide rinse water",),
        spares=("Z7", "Z8", "Y7", "Y8"),
        can_tell=(
            "A change of 6 L* or more between neighbouring dip times (80 % of the time).",
            "A change of 9 L* or more between 1 and 9 g/L, with two baths at each strength.",
        ),
        to_confirm=(
            "The pickle pot stands at another bench, with its own extraction.",
            "The tongs used in the bath are never used in the pickle.",
        ),
        opening=(
            "Extraction on, checked with a strip of tissue",
            "Goggles and gloves for everybody",
            "Eye wash within reach",
            "Tiles stamped, drilled, brushed and degreased",
            "Water-break test passed: an unbroken sheet of water",
            "Timer, thermometer, scale to 0.1 g",
            "Three rinse buckets, labelled",
            "Labelled jar for used baths",
        ),
        closing=(
            "Bath cards filled in: discarded at, tiles passed",
            "All tiles dry, bagged one by one, in the dark box",
            "Used baths in the labelled jar",
            "Concentrate tin dry and closed",
            "Benches wiped, gloves off last",
        ),
        cautions=CAUTIONS,
        protection=PROTECTION,
        first_aid=FIRST_AID,
        measure_sheets=(
            MeasureSheet(
                "Colour readings, cured",
                "Colour readings",
                ("CIE L*, a*, b* as the instrument shows them.", "One spot is enough."),
                ("date", "by", "instrument"),
                (("spot 1", ("L*", "a*", "b*")), ("spot 2", ("L*", "a*", "b*"))),
                tuple(reversed(order)),
                "7 days after making",
            ),
            MeasureSheet(
                "Values: gloss",
                "Values",
                ("Write each value in its unit.",),
                ("date",),
                (("", ("gloss, GU",)),),
                tuple(order),
            ),
        ),
        rub_sheets=(
            RubSheet(
                "Cloth rub, adapted from ISO 105-X12 (a textile standard)",
                "dry",
                (
                    "White cotton over a 16 mm foot carrying 900 g.",
                    "10 strokes to and fro over 100 mm.",
                    "A fresh piece of cloth for each tile.",
                ),
                tuple(order),
                "7 days after making: session 1 on 14 March, session 2 on 21 March 2026",
            ),
        ),
        due=(
            Due("colour, cured", "14 March 2026", "tiles of session 1"),
            Due("rub test, dry", "14 March 2026", "tiles of session 1"),
            Due("colour, cured", "21 March 2026", "tiles of session 2"),
            Due("rub test, dry", "21 March 2026", "tiles of session 2"),
        ),
        back="Type the sheets into the forms in the study's folder, then: tilestudy enter house-plaques",
        mishaps="bath clouded? timer missed?",
        waste="used baths and rinse water",
    )


def _mean(key: str, **where: object) -> float:
    found = [float(str(t[key])) for t in TILES if all(t[name] == value for name, value in where.items())]
    return sum(found) / len(found)


def effects(
    key: str,
    response: str,
    toward: str,
    limits: tuple[float, float] | None,
    alt: str,
    line: tuple[float, str] | None = None,
) -> MainEffects:
    """A main-effects chart of the invented tiles."""

    def panel(name: str, label: str, unit: str, spacing: str, values: tuple[int, ...], half: float) -> Panel:
        levels = tuple(
            Level(
                str(v),
                float(v),
                _mean(key, **{name: v}),
                _mean(key, **{name: v}) - half,
                _mean(key, **{name: v}) + half,
            )
            for v in values
        )
        points = tuple(
            TilePoint(str(t["code"]), float(str(t[name])), float(str(t[key])), str(t["colour"])) for t in TILES
        )
        return Panel(label, unit, spacing, levels, points)  # type: ignore[arg-type]

    wide, narrow = (5.0, 2.2) if key == "L" else (0.45, 0.25)
    return MainEffects(
        response,
        (
            panel("strength", "strength", "g/L", "geometric", STRENGTHS, wide),
            panel("dip", "dip time", "s", "geometric", DIPS, narrow),
            panel("cycles", "scrub cycles", "", "steps", CYCLES, narrow),
        ),
        alt,
        toward,
        "Circles: tiles in their own colour. Diamonds: predicted means with 95 % ranges. Strength is judged by baths, so "
        "its ranges are wider.",
        limits,
        line,
    )


def handout() -> Handout:
    """A whole handout."""
    lines = tuple(
        Line(
            f"{s} g/L",
            tuple(
                Level(
                    str(d),
                    float(d),
                    _mean("L", strength=s, dip=d),
                    _mean("L", strength=s, dip=d) - 4,
                    _mean("L", strength=s, dip=d) + 4,
                )
                for d in DIPS
            ),
        )
        for s in STRENGTHS
    )
    rows = []
    for strength in STRENGTHS:
        mine = sorted((t for t in TILES if t["strength"] == strength), key=lambda t: (t["cycles"], t["dip"], t["bath"]))
        baths = " and ".join(bath for bath, _, s in BATHS if s == strength)
        rows.append(
            BoardRow(
                f"Strength {strength} g/L (baths {baths})",
                tuple(
                    Swatch(
                        str(t["code"]),
                        str(t["colour"]),
                        f"{t['L']:.0f}",
                        (f"{t['dip']} s", f"{t['cycles']}×"),
                        f"{t['grade']:g}",
                    )
                    for t in mine
                ),
            )
        )
    best = min((t for t in TILES if float(str(t["grade"])) >= 4), key=lambda t: float(str(t["L"])))
    return Handout(
        masthead=MASTHEAD,
        summary=(
            "Stronger and longer dips are darker, but the strongest bath rubs off.",
            "A 3 g/L bath with four dip-and-scrub cycles gave the darkest brown that still passed.",
        ),
        done=(
            Fact("Metal", "copper C11000, 24 gauge (0.51 mm), 25 × 50 mm, brushed along the grain"),
            Fact("Process", "sulfide dip (potassium polysulfide), 20 °C"),
            Fact("Strength", "1, 3, 9 g/L, set per bath; weighed"),
            Fact("Dip time", "10, 30, 90 s, set per tile"),
            Fact("Scrub cycles", "1, 4, set per tile"),
            Fact("Tiles", "36 in 6 freshly mixed baths (2 at each strength), over 2 sessions on 7 and 14 March 2026"),
            Fact(
                "Measured", "colour after 7 days, 3 spots each, by KR; dry rub test after 7 days, scored by KR and MT"
            ),
        ),
        board=Board(tuple(rows), "Cured 7 days, sphere instrument, D65/10°, mean of 3 spots."),
        drivers=(
            Drivers(
                "What drives the colour",
                (
                    "From 1 to 9 g/L the tile darkens by 18 L* (13 to 23).",
                    "Each tripling of the dip time darkens by 6.5 L* (5 to 8).",
                    "Four scrub cycles instead of one darken by 7 L* (4 to 10).",
                    "In the strong bath the dip time matters less: the tile is nearly black after 30 s.",
                ),
                effects(
                    "L",
                    "lightness L*",
                    "lower is darker",
                    None,
                    "Three panels of lightness L* against strength, dip time and scrub cycles. Lightness falls in "
                    "each, most with strength.",
                ),
                Interaction(
                    "lightness L*",
                    "dip time",
                    "s",
                    "geometric",
                    "strength",
                    lines,
                    "Lightness against dip time, one line for each strength. All fall; 9 g/L lies lowest.",
                    "How the effect of dip time depends on strength.",
                ),
                "Two baths of the same recipe differ by about 2.1 L*. The ranges in brackets hold the true size 95 times "
                "in 100 such studies.",
            ),
            Drivers(
                "What drives durability",
                (
                    "From 1 to 9 g/L the rub grade falls by 1.2 (0.7 to 1.7).",
                    "Four scrub cycles instead of one raise it by 0.5 (0.2 to 0.8).",
                    "Whether dip time matters cannot be told: its effect lies between 0.4 lower and 0.1 higher.",
                ),
                effects(
                    "grade",
                    "rub grade",
                    "5 is no stain",
                    (1, 5),
                    "Three panels of rub grade against strength, dip time and scrub cycles. Grade falls with strength "
                    "and rises with cycles.",
                    (4.0, "passes"),
                ),
                None,
                "Two scorers agreed within half a grade on 31 of 36 tiles.",
            ),
        ),
        best=Best(
            (
                "Nearest to the wanted dark brown among the 17 tiles that pass grade 4.",
                "One tile made once: make three more before trusting it.",
            ),
            Swatch(str(best["code"]), str(best["colour"]), f"{best['L']:.0f}", ("90 s", "4×"), f"{best['grade']:g}"),
            (Fact("Strength", "3 g/L"), Fact("Dip time", "90 s"), Fact("Scrub cycles", "4"), Fact("Bath", "B1")),
            Swatch("wanted", "#46302a", "23", ()),
            "Near: a difference you would notice side by side only (CIEDE2000 3.8).",
        ),
        unknown=(
            "Whether sealing changes the colour: these tiles were not sealed.",
            "How the colour lasts on a wall: nothing was exposed for longer than 7 days.",
            "Whether other sheet lots or harder water behave alike.",
            "Anything outside 1 to 9 g/L, 10 to 90 s and 1 to 4 cycles.",
        ),
        mixing=(
            Fact("3 g/L bath, 0.5 L", "1.5 g potassium polysulfide in 0.5 L cool water"),
            Fact("3 g/L bath, 2 cups", "1.4 g in 2 cups (473 mL)"),
        ),
        repeat=(
            "Brush the copper along the grain with pumice, degrease, rinse. A clean face holds an unbroken sheet of water.",
            "Mix the bath fresh, under extraction, and use it within 4 h.",
            "Dip 90 s, rinse in water, scrub with a soft brass brush under running water. Do this four times in all.",
            "Pat dry at once; leave 7 days before judging colour or rubbing.",
        ),
        cautions=CAUTIONS[:3],
        protection=PROTECTION[:2],
        first_aid=FIRST_AID,
        sources=(
            "Colour difference: CIEDE2000, ISO/CIE 11664-6.",
            "Rub test adapted from ISO 105-X12; grades after ISO 105-A03.",
            "Limits of exposure: PMC5777517, Table 3.",
        ),
    )
