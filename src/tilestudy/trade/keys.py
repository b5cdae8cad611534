"""The keys of the files of trade data: what each holds, and which it has to have."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Literal, NamedTuple

from tilestudy.study.records import COATINGS, SOLDERS
from tilestudy.trade.ingredients import CLASSES, FORMS, POISONS

Kind = Literal["text", "texts", "number", "numbers", "flag", "levels", "table"]


class Key(NamedTuple):
    """What a key holds, whether it has to be there, and which texts it may hold (none: any; or an id of that kind)."""

    kind: Kind
    needed: bool = False
    of: tuple[str, ...] | str = ()


_TEXT, _NEEDED, _TEXTS, _FLAG = Key("text"), Key("text", True), Key("texts"), Key("flag")
_NUMBER = Key("number")

TABLES: Mapping[str, Mapping[str, Mapping[str, Key]]] = {
    "ingredients.toml": {
        "[[ingredient]]": {
            "id": _NEEDED,
            "names": Key("texts", True),
            "form": Key("text", True, FORMS),
            "formula": _TEXT,
            "molar_mass": _NUMBER,
            "percent": _NUMBER,
            "density": _NUMBER,
            "classes": Key("texts", True, tuple(CLASSES)),
            "poison": Key("text", False, POISONS),
            "agents": Key("texts", False, "limit"),
            "gives": Key("table", False, "limit"),
            "note": _TEXT,
            "source": _NEEDED,
        },
        "[[limit]]": {
            "agent": _NEEDED,
            "niosh": _TEXT,
            "osha": _TEXT,
            "ppm": _NUMBER,
            "idlh_ppm": _NUMBER,
            "molar_mass": _NUMBER,
            "source": _NEEDED,
            "read": _TEXT,
        },
    },
    "metals.toml": {
        "[[metal]]": {
            "uns": _NEEDED,
            "label": _NEEDED,
            "family": _NEEDED,
            "composition": _TEXT,
            "density": _NUMBER,
            "density_source": _TEXT,
            "gauges": _TEXTS,
            "holds": Key("texts", False, POISONS),
            "source": _NEEDED,
        },
        "[[gauge]]": {
            "label": _NEEDED,
            "families": Key("texts", True),
            "inch": Key("table", True),
            "source": _NEEDED,
        },
    },
    "bench_steps.toml": {
        "[[step]]": {
            "id": _NEEDED,
            "label": _NEEDED,
            "things": _TEXTS,
            **dict.fromkeys(("always", "bath", "rinses", "heats", "flame", "closed", "stores"), _FLAG),
        }
    },
    "rub_protocols.toml": {
        "[[protocol]]": {
            "id": _NEEDED,
            "label": _NEEDED,
            "source": _NEEDED,
            "steps": Key("table", True),
            "both": Key("table", True),
        }
    },
    "hazards.toml": {
        "[[rule]]": {
            **dict.fromkeys(("id", "says", "source"), _NEEDED),
            "level": Key("text", True, ("block", "warn")),
            **dict.fromkeys(("sign", "alone", "water_spoils"), _FLAG),
            **dict.fromkeys(("title", "next", "answer"), _TEXT),
            "meet": Key("levels"),
            "where": Key("texts", False, ("recipe", "next", "tool", "bucket", "jar", "place", "room", "closed")),
            "has": Key("texts", False, tuple(CLASSES)),
            "stands": Key("texts", False, ("recipe", "step", "near")),
            "heat": Key("text", False, ("any", "flame", "closed")),
            "above_c": _NUMBER,
            "extraction": Key("text", False, ("missing", "not said")),
            "bath": Key("text", False, ("past life", "cloudy")),
            "unsaid": Key("text", False, ("recipe", "order")),
            "without_step": Key("texts", False, "step"),
            "metal_holds": Key("texts", False, POISONS),
            "solder": Key("texts", False, SOLDERS),
            "coating": Key("texts", False, COATINGS),
            "rub": Key("texts", False, ("dry", "wet")),
            **dict.fromkeys(("processes", "families", "not_families"), _TEXTS),
        }
    },
    "processes": {
        "": {
            **dict.fromkeys(("label", "source"), _NEEDED),
            **dict.fromkeys(("question", "batch_word", "target", "batch_volume", "life_source"), _TEXT),
            **dict.fromkeys(("heat", "wet", "wet_rub"), Key("flag", True)),
            **dict.fromkeys(("session_minutes", "life_h", "together"), _NUMBER),
        },
        "[minutes]": dict.fromkeys(("setup", "clear", "batch", "tile", "cycle", "cool"), _NUMBER),
        "[spooned]": {"density_g_per_ml": Key("number", True), "source": _NEEDED},
        "[mix]": {
            "lines": _TEXTS,
            **dict.fromkeys(("live", "spent", "discard", "never", "source"), _TEXT),
        },
        "[words]": {
            **dict.fromkeys(("make", "out", "mishaps", "bring", "waste"), _TEXT),
            **dict.fromkeys(("blanks", "measured", "closing"), _TEXTS),
        },
        "[[factor]]": {
            "name": _NEEDED,
            "unit": Key("text"),
            "levels": Key("levels", True),
            "spacing": Key("text", True, ("linear", "geometric", "steps")),
            "set_per": Key("text", True, ("tile", "batch", "session")),
            "got": Key("text", False, ("weighed", "spooned", "lumps", "by eye")),
            "note": _TEXT,
        },
        "[[ingredient]]": {
            "id": Key("text", True, "ingredient"),
            "instead": Key("texts", False, "ingredient"),
            "name": _NEEDED,
            "factor": Key("text", False, "factor"),
            "per": _TEXT,
            "amount": _TEXT,
            "lump_mm": Key("numbers"),
            "lump_g_per_cm3": Key("numbers"),
        },
        "[[sequence]]": {
            "do": Key("text", True, "step"),
            "with": _TEXTS,
            "place": _TEXT,
            "tools": _TEXTS,
            "bucket": _TEXT,
            "jar": _TEXT,
            "closed": _FLAG,
        },
        "[[step]]": {"step": _NEEDED, "do": _NEEDED},
        "[[protection]]": dict.fromkeys(("step", "wear", "why"), _NEEDED),
        "[[caution]]": dict.fromkeys(("title", "text", "source"), _NEEDED),
        "[[ask]]": dict.fromkeys(("key", "text", "safe"), _NEEDED),
    },
}
"""The keys of each file of trade data, by table: "" is the top of the file, [x] one table, [[x]] any number of them."""

IDS = {
    "ingredient": ("ingredients.toml", "ingredient", "id"),
    "limit": ("ingredients.toml", "limit", "agent"),
    "metal": ("metals.toml", "metal", "uns"),
    "step": ("bench_steps.toml", "step", "id"),
    "protocol": ("rub_protocols.toml", "protocol", "id"),
    "rule": ("hazards.toml", "rule", "id"),
}
"""What has an id: the file, the table and the key."""
