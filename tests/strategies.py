"""Hypothesis strategies for what a study holds: a study, its plan, and records of every kind."""

from __future__ import annotations

from datetime import date, datetime

from hypothesis import strategies as st

from tilestudy.study.records import (
    STAGES,
    Batch,
    BatchLog,
    Cloth,
    Factor,
    Made,
    Plan,
    Reading,
    Record,
    Response,
    Rub,
    RubPlan,
    Study,
    Tile,
    Value,
)

CODES = ("A3", "C4", "K7", "HX3", "Pä7", "t-12", "N4", "Y33")
TODAY = date(2026, 11, 24)

text = st.text(st.characters(exclude_categories=("Cs",)), max_size=20)
days = st.dates(max_value=TODAY)
moments = st.none() | st.datetimes(max_value=datetime(2026, 11, 24))
numbers = st.floats(allow_nan=False, allow_infinity=False)
settings_of_dip = st.dictionaries(st.sampled_from(["strength", "dip_time"]), numbers) | st.just({"finish": "sanded"})
colours = st.tuples(st.floats(0, 100), st.floats(-150, 150), st.floats(-150, 150))
details = st.dictionaries(st.sampled_from(["glare", "residual", "tray"]), st.floats(0, 1) | st.integers(1, 300))


def studies() -> st.SearchStrategy[Study]:
    """Studies of door plaques with every kind of factor and response."""
    factors = (
        Factor("strength", (1.0, 3.0, 9.0), "g/L", "g/L", "geometric", "batch"),
        Factor("dip_time", (10.0, 90.0), "s", "s"),
        Factor("warmth", (20.0, 65.0), "degC", "degF", set_per="session"),
        Factor("finish", ("brushed", "sanded"), spacing="steps"),
    )
    return st.builds(
        Study,
        st.just("door-plaques"),
        text,
        st.just("sulfide-dip"),
        st.just(factors),
        stage=st.sampled_from(STAGES),
        rub=st.none() | st.builds(RubPlan, st.just("cloth-10"), st.sampled_from([("dry",), ("dry", "wet")])),
        responses=st.sampled_from([(), (Response("gloss", "GU"),), (Response("gloss"), Response("mass_loss", "g"))]),
    )


@st.composite
def plans(draw: st.DrawFn, codes: tuple[str, ...] = CODES) -> Plan:
    """Plans of one to four batches, tiles in run order."""
    batches = []
    tiles = []
    here = draw(st.lists(st.sampled_from(codes), unique=True, min_size=1))
    session = 1
    for order in range(1, draw(st.integers(1, 4)) + 1):
        session += draw(st.integers(0, 1)) if order > 1 else 0
        batch = Batch(f"B{order}", session, order, {"strength": draw(numbers), "warmth": draw(numbers)})
        batches.append(batch)
        count = draw(st.integers(0, len(here)))
        for place, code in enumerate(here[:count], start=1):
            finish = draw(st.sampled_from(["brushed", "sanded"]))
            settings = {**batch.settings, "dip_time": draw(numbers), "finish": finish}
            tiles.append(Tile(code, batch.code, session, place, settings, draw(st.booleans())))
        here = here[count:]
    seed = draw(st.integers(-(2**63), 2**63 - 1))
    return Plan("door-plaques", seed, tuple(batches), tuple(tiles), draw(st.booleans()))


def records(plan: Plan) -> st.SearchStrategy[tuple[str, Record]]:
    """Records of every kind about the tiles and batches of a plan, with the name of the kind."""
    batches = st.sampled_from([batch.code for batch in plan.batches])
    kinds = [st.tuples(st.just("batches"), st.builds(BatchLog, batches, moments, moments, settings_of_dip, text, text))]
    if plan.tiles:
        tiles = st.sampled_from([tile.code for tile in plan.tiles])
        kinds += [
            st.tuples(
                st.just("made"),
                st.builds(
                    Made,
                    *(tiles, days, st.just("") | batches, settings_of_dip, st.booleans()),
                    *(text, st.sampled_from(["", "X77"]), text, text),
                ),
            ),
            st.tuples(
                st.just("colour"),
                st.builds(
                    Reading,
                    *(tiles, st.sampled_from(STAGES), days, st.floats(0, 100), st.floats(-150, 150)),
                    *(st.floats(-150, 150), st.integers(1, 9), text, text, text, text, text),
                    *(text, st.none() | st.floats(0, 50), st.none() | st.floats(0, 50), details),
                ),
            ),
            st.tuples(
                st.just("cloths"),
                st.builds(
                    Cloth,
                    *(tiles, days, st.floats(1, 5), colours, colours, st.sampled_from(["dry", "wet"]), text),
                    *(st.integers(1, 3), st.none() | st.floats(0, 4), text, details),
                ),
            ),
            st.tuples(
                st.just("values"),
                st.builds(
                    Value, tiles, st.sampled_from(["gloss", "mass_loss"]), days, numbers, st.integers(1, 9), text
                ),
            ),
            st.tuples(
                st.just("rub"),
                st.builds(
                    Rub,
                    *(tiles, st.sampled_from(["KL", "★", "MJ 2"]), days, st.sampled_from([1.0, 3.5, 5.0])),
                    *(st.sampled_from(["dry", "wet"]), text, st.none() | st.integers(0, 10**6)),
                    *(st.none() | st.booleans(), st.integers(1, 3)),
                ),
            ),
        ]
    return st.one_of(*kinds)
