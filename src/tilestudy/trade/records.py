"""What the trade's data files tell, as frozen records: processes, recipes, bench steps, rub protocols."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from typing import Any

from tilestudy.study.workplace import BenchStep


@dataclass(frozen=True)
class BenchWords:
    """What the bench pack of a process says on its cards, sheets and checklists.

    Attributes
    ----------
    make, out : str
        Heading of the steps on a card ("Make it"); what stands before its end or change-over ("Out of use").
    blanks, measured : tuple of str
        Blanks to write on a card, in pairs; when each measured setting is to be written down ("at start", "at end").
    mishaps, bring, waste : str
        Questions that jog the memory; what to have at hand; what is left over ("": nothing that needs a rule).
    closing : tuple of str
        Checklist for clearing up.
    """

    make: str
    out: str
    blanks: tuple[str, ...]
    measured: tuple[str, ...]
    mishaps: str
    bring: str
    waste: str
    closing: tuple[str, ...]


@dataclass(frozen=True)
class Part:
    """One thing in a process's recipe.

    Attributes
    ----------
    name : str
        As the bench calls it.
    ids : tuple of str
        Ids of the ingredient, and of others that may take its place (the brown or the green nitrate).
    factor : str
        The factor that says how much; "" where the amount is fixed or not said.
    amount : str
        A fixed amount, so much in each litre: "50 mL/L"; "" where a factor says it, or nobody does.
    """

    name: str
    ids: tuple[str, ...]
    factor: str = ""
    amount: str = ""


@dataclass(frozen=True)
class Process:
    """A family of treatments, as its data file tells it.

    `wet` is True where liquids are used; `minutes` are for setting up, clearing up, each batch and each tile (beside its
    time in the bath), `session_minutes` a session that holds each per-batch setting once. `recipe` is what goes into a
    batch, `sequence` the usual order of steps; `life_h` is how many hours a batch is good for, `life_source` how that is
    known. `data` keeps the file's further tables (factor, ingredient, mix, step, protection, caution, ask) as written.
    """

    id: str
    label: str
    batch_word: str
    heat: bool
    wet: bool
    wet_rub: bool
    minutes: Mapping[str, float]
    session_minutes: float
    words: BenchWords
    density_g_per_ml: float | None
    recipe: tuple[Part, ...]
    sequence: tuple[BenchStep, ...]
    life_h: float | None
    life_source: str
    data: Mapping[str, Any]


@dataclass(frozen=True)
class StepKind:
    """What a bench step does.

    Attributes
    ----------
    id, label : str
    things : tuple of str
        What it is done with when nothing is said; with `always`, also when something is.
    bath : bool
        Done in or with the study's own bath, tub or load.
    rinses : bool
        Takes off what was there before, if done with water.
    heats, flame, closed : bool
        The tile or the bath gets hot; an open flame is used; it is done in a closed vessel.
    stores : bool
        Nothing is done: a thing is there.
    """

    id: str
    label: str
    things: tuple[str, ...] = ()
    always: bool = False
    bath: bool = False
    rinses: bool = False
    heats: bool = False
    flame: bool = False
    closed: bool = False
    stores: bool = False


@dataclass(frozen=True)
class Protocol:
    """A rub protocol: id, label, the steps and (where dry and wet are both asked for) the place of each rub, and its source.

    `steps` and `both` are by condition, "dry" and "wet".
    """

    id: str
    label: str
    steps: Mapping[str, tuple[str, ...]]
    both: Mapping[str, str]
    source: str

    def lines(self, condition: str, conditions: Collection[str]) -> tuple[str, ...]:
        """Return the lines to follow under one condition of those asked for.

        >>> Protocol("p", "", {"wet": ("Rub.",)}, {"wet": "Wet comes second."}, "").lines("wet", ("dry", "wet"))
        ('Wet comes second.', 'Rub.')
        """
        return (*((self.both[condition],) if len(set(conditions)) > 1 else ()), *self.steps[condition])


def read_process(process_id: str, data: Mapping[str, Any]) -> Process:
    """Take a process from its file."""
    words = data["words"]
    return Process(
        process_id,
        data["label"],
        data["batch_word"],
        data["heat"],
        data["wet"],
        data["wet_rub"],
        data["minutes"],
        data["session_minutes"],
        BenchWords(
            words["make"],
            words["out"],
            tuple(words["blanks"]),
            tuple(words.get("measured", ("",))),
            words["mishaps"],
            words["bring"],
            words["waste"],
            tuple(words["closing"]),
        ),
        data.get("spooned", {}).get("density_g_per_ml"),
        tuple(
            Part(one["name"], (one["id"], *one.get("instead", ())), one.get("factor", ""), one.get("amount", ""))
            for one in data.get("ingredient", ())
        ),
        tuple(
            BenchStep(
                one["do"],
                _several(one.get("with", ())),
                one.get("place", ""),
                _several(one.get("tools", ())),
                one.get("bucket", ""),
                one.get("jar", ""),
                one.get("closed", False),
            )
            for one in data.get("sequence", ())
        ),
        data.get("life_h"),
        data.get("life_source", ""),
        data,
    )


def _several(value: str | Collection[str]) -> tuple[str, ...]:
    return (value,) if isinstance(value, str) else tuple(value)


def read_step(data: Mapping[str, Any]) -> StepKind:
    """Take a kind of bench step from its table in bench_steps.toml."""
    flags = {
        key: data[key] for key in ("always", "bath", "rinses", "heats", "flame", "closed", "stores") if key in data
    }
    return StepKind(data["id"], data["label"], _several(data.get("things", ())), **flags)


def read_protocol(data: Mapping[str, Any]) -> Protocol:
    """Take a rub protocol from its table in rub_protocols.toml."""
    steps = {condition: tuple(lines) for condition, lines in data["steps"].items()}
    return Protocol(data["id"], data["label"], steps, data["both"], data["source"])
