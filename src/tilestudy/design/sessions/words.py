"""The timetable in words: the list to work from, and the sentences that change what is done."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence

from tilestudy.design.sessions.order import Freedom
from tilestudy.design.sessions.timetable import Dropped, Event, SessionTimes, TileTimes, Timetable
from tilestudy.study.language import capital, columns, count, listed, plural
from tilestudy.study.records import Plan, Study

_HANDS = {1: "one pair of hands", 2: "two pairs of hands", 3: "three pairs of hands"}
PULL = 0.25
"""A correlation of a tile's time with its place in the batch that is worth telling."""
EARLY, LATE = 7, 22
"""Hours of day between which somebody is taken to be there."""


def spell(seconds: int) -> str:
    """Write how long something takes, in whole minutes.

    >>> spell(45 * 60), spell(9000), spell(8710)
    ('45 min', '2 h 30 min', '2 h 26 min')
    """
    minutes = -(-seconds // 60)
    hours, rest = divmod(minutes, 60)
    return listed_time(hours, rest)


def listed_time(hours: int, minutes: int) -> str:
    """Write hours and minutes, leaving out what is nought."""
    parts = [f"{hours} h"] if hours else []
    return " ".join([*parts, f"{minutes} min"] if minutes or not parts else parts)


def hands_in_words(hands: int) -> str:
    """Write how many pairs of hands there are."""
    return _HANDS.get(hands, f"{hands} pairs of hands")


# --- the list ---------------------------------------------------------------------------------------------------------


def heading(session: SessionTimes, hands: int) -> str:
    """Head a session: when it starts and ends, and how long it takes."""
    slot = "" if session.allowed is None else f" of {spell(session.allowed)}"
    return (
        f"Session {session.number}, {session.clock(0, False)} to {session.clock(session.ends, False)} "
        f"({spell(session.ends)}{slot}), {hands_in_words(hands)}"
    )


def table(session: SessionTimes, word: str, hands: int) -> list[str]:
    """Return a line for each thing to do, in the order of the clock.

    A tile that is held all the while takes one line; coming out and going in again stand in one line too.
    """
    return columns([["time", "tile", *(["hands"] if hands > 1 else []), "what"], *clock_rows(session, word, hands)])


def clock_rows(session: SessionTimes, word: str, hands: int) -> Iterable[list[str]]:
    """Yield the cells of each line of the list: time, tile, whose hands (where there are several), what to do."""
    ins = {tile.tile: tile.ins for tile in session.tiles.values()}
    held = _held(session)
    for event in session.events:
        at, end = session.clock(event.at), event.at + event.lasts
        until = session.clock(end, seconds=end % 60 != 0)
        whose = [str(event.hands) if event.hands else ""] if hands > 1 else []
        if event.kind in ("prepare", "clear up"):
            yield [at, "", *whose, f"{event.kind}, until {until}"]
        elif event.kind == "make up":
            yield [at, "", *whose, f"make up {word} {event.batch}, ready {until}"]
        elif event.kind == "heat":
            yield [at, "", *whose, f"heat for {word} {event.batch}, steady {until}"]
        elif event.kind == "finish":
            yield [at, event.tile, *whose, "cold: lay beside its code, write"]
        elif event.tile in held:
            if event.kind == "in" and event.cycle == 1:
                yield [at, event.tile, *whose, _held_line(session, event)]
        elif event.kind == "in":
            if event.cycle == 1:
                yield [at, event.tile, *whose, "in"]
        elif event.cycle < event.cycles:
            again = session.clock(ins[event.tile][event.cycle])
            yield [at, event.tile, *whose, f"out ({event.cycle} of {event.cycles}), in {again}"]
        else:
            turn = f" ({event.cycle} of {event.cycles})" if event.cycles > 1 else ""
            yield [at, event.tile, *whose, f"out{turn}"]


def _held(session: SessionTimes) -> set[str]:
    """Tiles that never leave the hands between going in and the end: their stretches follow without a break."""
    found = set()
    for tile in session.tiles:
        events = sorted((e for e in session.events if e.tile == tile and e.kind in ("in", "out")), key=lambda e: e.at)
        if all(one.kind == "out" or one.at + one.lasts >= _next(events, one) for one in events):
            found.add(tile)
    return found


def _next(events: Sequence[Event], one: Event) -> int:
    return next(other.at for other in events if other.kind == "out" and other.cycle == one.cycle)


def _held_line(session: SessionTimes, event: Event) -> str:
    times = session.tiles[event.tile]
    inside = times.outs[0] - times.ins[0]
    how = f"in for {inside} s" if inside else "begin"
    repeat = f", {event.cycles} times" if event.cycles > 1 else ""
    return f"{how}{repeat}; done {session.clock(times.done)}"


def dropping(session: SessionTimes) -> list[str]:
    """Say what to leave out first when time runs out; nothing when no tile may go."""
    if not session.may_drop:
        return [
            "If time runs out, no tile of this session can be left out without losing an answer: stop and go on another day."
        ]
    codes = [f"{one.tile} ({one.batch})" for one in session.may_drop]
    growth = session.may_drop[-1].growth - 1
    grows = f"the smallest change likely seen grows by at most {max(growth, 0.01):.0%}"
    cost = grows if growth >= 0.005 else "next to nothing is lost of what the study tells"
    several = len(codes) > 1
    order = "in this order, those made already passed over: " if several else ""
    return [
        f"If time runs out, leave out {order}{', '.join(codes)}. With {'all of these' if several else 'it'} gone, {cost}."
    ]


def go_on(word: str) -> str:
    """Say how a session that stops half-way goes on another day.

    >>> go_on("bath")[:42]
    'To go on another day: a bath not yet begun'
    """
    return (
        f"To go on another day: a {word} not yet begun is made whole, fresh, with all its tiles. A {word} that was begun is "
        f"not carried over: finish it, or leave its last tiles out and say so on the sheet."
    )


# --- sentences --------------------------------------------------------------------------------------------------------


def made_already(whole: Plan, left: Plan, done: Collection[str], word: str) -> list[str]:
    """Say what is made and what is left."""
    if not done:
        return []
    many = sum(tile.code in done for tile in whole.tiles)
    rest = [batch.code for batch in left.batches]
    names = f"{word} {rest[0]}" if len(rest) == 1 else f"{plural(word)} {listed(rest)}"
    return [f"Of {count(len(whole.tiles), 'tile')}, {many} {'is' if many == 1 else 'are'} made; left: {names}."]


def begun_batches(whole: Plan, done: Collection[str], word: str, name: str) -> list[str]:
    """Say what to do about each batch that was begun and not finished."""
    says = []
    for batch in whole.batches:
        tiles = [tile.code for tile in whole.tiles if tile.batch == batch.code]
        missing = [code for code in tiles if code not in done]
        if missing and len(missing) < len(tiles):
            several = len(missing) > 1
            says.append(
                f"{capital(word)} {batch.code} was begun and {listed(missing)} {'were' if several else 'was'} not made. Another "
                f"day's {word} is a fresh one, never the same {word} again: leave {'them' if several else 'it'} out, or plan the "
                f'{word} afresh with "tilestudy extend {name} --repair {batch.code}".'
            )
    return says


def order_of(free: Freedom, study: Study, word: str) -> str:
    """Say what the clock costs the random order of a session, and how long a slot would cost nothing."""
    slot = spell(round(60 * (study.limits.minutes or 0)))
    longer = f"A slot of {spell(60 * free.whole)} would leave the order wholly to chance."
    if free.share == 0:
        return (
            f"Session {free.session}: hardly any random order of its tiles ends within {slot}, so the order is "
            f"arranged by the clock, not drawn: a {word} that changes as it ages may then look like an effect. {longer}"
        )
    tens = min(9, max(1, round(10 * free.share)))
    says = (
        f"Session {free.session}: about {tens} in 10 random orders of its tiles end within {slot}, and its order is "
        f"one of these."
    )
    if abs(free.pull) >= PULL:
        when = "late" if free.pull > 0 else "early"
        says += (
            f" In these, tiles that take long tend to come {when} in their {word}, so should a {word} change as it ages, that "
            "would be mixed up with how long a tile is in."
        )
    return f"{says} {longer}"


def overruns(number: int, ends: int, allowed: int, name: str) -> str:
    """Say that a session does not fit, and where to look."""
    return (
        f"Session {number} takes {spell(ends)} and has {spell(allowed)}; "
        f'"tilestudy timetable {name}" says what would make it fit.'
    )


def too_long(session: SessionTimes, remedies: Sequence[str]) -> str:
    """Say by how much a session is too long, and what would make it fit."""
    over = session.ends - (session.allowed or 0)
    return (
        f"Session {session.number} takes {spell(session.ends)}, {spell(over)} more than its {spell(session.allowed or 0)}. "
        f"What would fit: {'; or '.join(remedies)}."
    )


def more_hands(hands: int, ends: int) -> str:
    """Say that more hands make it fit."""
    return f"{hands_in_words(hands)} (hands = {hands} under [session]; {spell(ends)})"


def fewer_tiles(drop: Sequence[Dropped]) -> str:
    """Say that leaving out a few tiles makes it fit."""
    cost = f", which lets the smallest change likely seen grow by {max(drop[-1].growth - 1, 0.01):.0%} at most"
    return f"leaving out {listed([one.tile for one in drop])}{cost if drop[-1].growth >= 1.005 else ''}"


def another_session(codes: Sequence[str], many: int, word: str, name: str) -> str:
    """Say which batches fit, and how to plan for another session."""
    stay, go = listed(codes[:many]), listed(codes[many:])
    return (
        f"{word if many == 1 else plural(word)} {stay} that day and {go} in a session more (batches_per_session = {many} under "
        f'[limits], then "tilestudy plan {name}", before any tile is made)'
    )


def longer_slot(minutes: int) -> str:
    """Say how long a slot is needed."""
    return f"a slot of {spell(60 * minutes)} (minutes = {minutes} under [limits])"


def of_batches(session: SessionTimes, study: Study, word: str) -> list[str]:
    """Say where a batch outlives its life, holds too many tiles, or has tiles due out when nobody may be there."""
    says = []
    room = study.limits.tiles_per_batch
    for batch in session.batches:
        late = [one.tile for one in batch.tiles if batch.use_by is not None and one.outs[-1] > batch.use_by]
        if late and batch.use_by is not None:
            says.append(
                f"{capital(word)} {batch.code} is good for {spell(batch.use_by - batch.ready)} and {listed(late)} would come out "
                f"of it later than that. Share its tiles over fresh {plural(word)}: tiles_per_batch = "
                f"{max(1, len(batch.tiles) - len(late))} under [limits], then plan again before any tile is made."
            )
        if room is not None and len(batch.tiles) > room:
            says.append(
                f"{capital(word)} {batch.code} has {len(batch.tiles)} tiles and may hold {room} (tiles_per_batch): leave out "
                f"the last {len(batch.tiles) - room}, or make them in a fresh {word}."
            )
    return says + _at_night(session, [one for one in session.tiles.values() if one.outs[-1] > session.ends])


def _at_night(session: SessionTimes, late: Sequence[TileTimes]) -> list[str]:
    if not late:
        return []
    if session.start is None:
        when = listed([f"{one.tile} {spell(one.outs[-1])} after the session began" for one in late])
        return [
            f'Somebody has to come back: out {when}. With start = "18:30" under [session] the clock times stand here, and '
            "those at night are told."
        ]
    begin = session.start.hour * 3600 + session.start.minute * 60
    night = [one for one in late if not EARLY <= (begin + one.outs[-1]) % 86400 / 3600 < LATE]
    if not night:
        return []
    when = listed([f"{one.tile} at {session.clock(one.outs[-1], False)}" for one in night])
    return [f"Out when nobody may be there: {when}. Start at another time of day, or choose other levels."]


def sentences(table_: Timetable) -> list[str]:
    """Return what is said of the whole timetable and of each session, in order."""
    return [*table_.says, *(text for session in table_.sessions for text in (*session.says, *dropping(session)))]
