"""What goes into baths and stands about in studios: names, classes that tell what must not meet what, exposure limits."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any

CLASSES: Mapping[str, str] = {
    "acid": "an acid, or a salt whose solution is acid (bisulfates; salts of iron, copper, zinc, bismuth)",
    "sulfide": "a sulfide or polysulfide, or what else gives off a poisonous sulfur gas with acid",
    "ammonia": "ammonia water, or what gives off ammonia by itself",
    "ammonium": "an ammonium salt: it gives off ammonia with a strong alkali",
    "hypochlorite": "chlorine bleach of any kind",
    "nitrate": "a nitrate, or nitric acid",
    "silver_nitrate": "silver nitrate and its solutions",
    "oxidiser": "makes other things burn, or reacts hard with them, and is no nitrate: peroxide, permanganate, chlorate",
    "fuel": "burns, or feeds a fire: wax, oil, solvent, sawdust, paper, sulfur",
    "strong_alkali": "a caustic alkali: lye, potash lye, slaked lime",
    "carbonate": "froths with acid: washing soda, baking soda, chalk",
    "chlorinated_solvent": "a solvent with chlorine: its vapour turns into poisonous gas in a flame",
    "chloride": "a chloride: it can start corrosion of bronze that does not stop",
    "poison": "holds one of the poisons that have no place in a class; `poison` says which",
    "water": "water with nothing in it: what rinses",
    "inert": "reacts with nothing else here",
}
"""The classes of ingredients, and what each means. The set is fixed: hazard rules are written about these."""

POISONS = ("arsenic", "cyanide", "mercury", "antimony", "lead", "chromate", "cadmium")
FORMS = ("solid", "liquid", "solution", "gas")


@dataclass(frozen=True)
class Limit:
    """How much of an agent people may breathe.

    Attributes
    ----------
    agent : str
        "hydrogen sulfide".
    niosh, osha : str
        The limits in words, with their units; "" where none is known.
    ppm, idlh_ppm : float or None
        For a gas: the lowest of the limits, and what is immediately dangerous to life or health, by volume in air.
    molar_mass : float or None
        Of a gas, g/mol.
    source, read : str
        Where that was found, and when, or "from memory". Limits change.
    """

    agent: str
    niosh: str
    osha: str
    ppm: float | None
    idlh_ppm: float | None
    molar_mass: float | None
    source: str
    read: str

    @property
    def text(self) -> str:
        """The limits in one line.

        >>> Limit("x", "10 ppm", "20 ppm", 10, 100, None, "a table", "2026").text
        'NIOSH 10 ppm; OSHA 20 ppm (a table; read 2026). Limits change: see the safety data sheet.'
        """
        limits = "; ".join(f"{who} {what}" for who, what in (("NIOSH", self.niosh), ("OSHA", self.osha)) if what)
        read = f"; read {self.read}" if self.read else ""
        return f"{limits} ({self.source}{read}). Limits change: see the safety data sheet."


@dataclass(frozen=True)
class Ingredient:
    """A thing that goes into a bath, or that a tile or tool meets.

    Attributes
    ----------
    id, label : str
    names : tuple of str
        The label first, then what else people call it.
    classes : frozenset of str
        Of `CLASSES`.
    form : str
        "solid", "liquid", "solution" or "gas", as it is bought or kept.
    formula : str
    molar_mass : float or None
        g/mol.
    percent : float or None
        Usual strength of a solution as bought, % by weight.
    density : float or None
        Of a liquid or solution as bought, g/mL.
    poison : str
        Which of `POISONS` it holds; "" for none.
    agents : tuple of str
        What of it people may breathe; each has a `Limit`.
    gives : mapping of str to float
        Agent, and mol of it that one mol of this can give off at the very worst.
    note, source : str
    """

    id: str
    label: str
    names: tuple[str, ...]
    classes: frozenset[str]
    form: str
    formula: str = ""
    molar_mass: float | None = None
    percent: float | None = None
    density: float | None = None
    poison: str = ""
    agents: tuple[str, ...] = ()
    gives: Mapping[str, float] = field(default_factory=dict)
    note: str = ""
    source: str = ""


def read_limit(data: Mapping[str, Any]) -> Limit:
    """Take a limit from its table in ingredients.toml."""
    return Limit(
        data["agent"],
        data.get("niosh", ""),
        data.get("osha", ""),
        data.get("ppm"),
        data.get("idlh_ppm"),
        data.get("molar_mass"),
        data["source"],
        data.get("read", ""),
    )


def read_ingredient(data: Mapping[str, Any]) -> Ingredient:
    """Take an ingredient from its table in ingredients.toml."""
    return Ingredient(
        data["id"],
        data["names"][0],
        tuple(data["names"]),
        frozenset(data["classes"]),
        data["form"],
        data.get("formula", ""),
        data.get("molar_mass"),
        data.get("percent"),
        data.get("density"),
        data.get("poison", ""),
        tuple(data.get("agents", ())),
        dict(data.get("gives", {})),
        data.get("note", ""),
        data["source"],
    )


# Words that never tell one thing from another: how much, how strong, how warm, in what shape, in which vessel.
_FILLER = frozenset(
    [
        "a",
        "an",
        "the",
        "of",
        "some",
        "in",
        "and",
        "solution",
        "sol",
        "dilute",
        "diluted",
        "weak",
        "strong",
        "concentrated",
        "conc",
        "concentrate",
        "warm",
        "hot",
        "cold",
        "cool",
        "lukewarm",
        "fresh",
        "freshly",
        "made",
        "mixed",
        "clean",
        "plain",
        "household",
        "aqueous",
        "anhydrous",
        "monohydrate",
        "dihydrate",
        "trihydrate",
        "pentahydrate",
        "hexahydrate",
        "nonahydrate",
        "decahydrate",
        "technical",
        "grade",
        "pure",
        "powder",
        "powdered",
        "crystal",
        "granule",
        "flake",
        "pellet",
        "lump",
        "chunk",
        "piece",
        "solid",
        "liquid",
        "bath",
        "tank",
        "bottle",
        "pot",
        "crock",
        "tub",
        "dish",
        "tray",
    ]
)
_STRENGTH = re.compile(
    r"(?<![\w.])\d+([.,/]\d+)?\s*(%|percent|per cent|vol(ume)?s?|g/l|g per l(itre|iter)?|ml/l|mol/l|g|ml|l|m|n)?(?![\w])"
    r"(\s*(w/v|w/w|v/v)(?![\w]))?",
    re.IGNORECASE,
)


def words_of(text: str) -> tuple[str, ...]:
    """Return the words of a name that tell what it is, as written in the same way whatever the spelling.

    Capitals, hyphens, brackets, plurals, strengths, and words such as "warm" or "solution" make no difference; nor do
    the British and the American spelling of sulfur.

    >>> words_of("5 % White Vinegar"), words_of("liver-of-sulphur (lumps)"), words_of("waxes")
    (('white', 'vinegar'), ('liver', 'sulfur'), ('wax',))
    """
    plain = unicodedata.normalize("NFKC", text).casefold().replace("sulph", "sulf")
    words = re.findall(r"[^\W_]+", _STRENGTH.sub(" ", plain))
    return tuple(word for word in map(_one, words) if word not in _FILLER)


def _one(word: str) -> str:
    """Take the plural off a word, the same way for names and for what people write; not the grammar of every word."""
    if len(word) > 4 and word.endswith(("ches", "shes", "sses", "xes")):
        return word[:-2]
    return word[:-1] if len(word) > 3 and word.endswith("s") and not word.endswith("ss") else word


def _keys(text: str) -> tuple[tuple[str, ...], ...]:
    """How a name is looked up: by its words in any order, or by all of it written as one word."""
    words = words_of(text)
    return (tuple(sorted(words)), ("".join(words),)) if words else ()


class Names:
    """Finds an ingredient by what people call it; never guesses."""

    def __init__(self, ingredients: Iterable[Ingredient]) -> None:
        self._found: dict[tuple[str, ...], Ingredient] = {}
        self.twice: list[tuple[str, str, str]] = []  # a name, and the ids of the two that it names
        for one in ingredients:
            for name in (*one.names, one.id):
                for key in _keys(name):
                    there = self._found.setdefault(key, one)
                    if there.id != one.id and (name, one.id, there.id) not in self.twice:
                        self.twice.append((name, one.id, there.id))

    def find(self, text: str) -> Ingredient | None:
        """Return the one ingredient of that name, or None."""
        return next((self._found[key] for key in _keys(text) if key in self._found), None)

    def find_all(self, text: str) -> tuple[Ingredient | None, ...]:
        """Return the ingredients of a text that may name several ("salt and vinegar"); None for each nobody knows."""
        whole = self.find(text)
        if whole is not None:
            return (whole,)
        parts = [part for part in re.split(r"\s*(?:[,+&;]|\band\b|\bwith\b|\bor\b|\bin\b)\s*", text.strip()) if part]
        return tuple(self.find(part) for part in parts) or (None,)
