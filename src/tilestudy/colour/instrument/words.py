"""What a heading or a keyword of an instrument's file means.

Field names of CGATS text: ISO 28178:2009. Geometries and their short forms: CIE 15 (45:0, di:8, de:8), with the older
words SCI and SCE for gloss included and excluded.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from tilestudy.colour.xyz import ILLUMINANTS, OBSERVERS


@dataclass(frozen=True)
class Conditions:
    """What a measurement was made under; "" where it is not said."""

    illuminant: str = ""
    observer: str = ""
    geometry: str = ""
    instrument: str = ""

    def filled_from(self, other: Conditions) -> Conditions:
        """Return these conditions, with what is not said taken from others."""
        return Conditions(
            self.illuminant or other.illuminant,
            self.observer or other.observer,
            self.geometry or other.geometry,
            self.instrument or other.instrument,
        )


@dataclass(frozen=True)
class Heading:
    """What a column holds.

    Attributes
    ----------
    what : str
        "L", "a", "b", "C", "h", "X", "Y", "Z"; "R" for reflectance at `nm`; "name", "date", "spot", "stage",
        "illuminant", "observer", "geometry", "instrument", "filter"; "" for anything else.
    nm : float or None
    component : "SCI", "SCE" or ""
    illuminant, observer : str
    per_cent : bool or None
        Reflectance in per cent, as a fraction, or not said.
    """

    what: str = ""
    nm: float | None = None
    component: str = ""
    illuminant: str = ""
    observer: str = ""
    per_cent: bool | None = None


COLOUR = ("L", "a", "b", "C", "h", "X", "Y", "Z")
KEYS = {
    **dict.fromkeys(("tile", "tile code", "code"), "name"),
    **dict.fromkeys(("sample name", "name", "data name", "measurement name", "title", "label", "patch"), "name"),
    **dict.fromkeys(("sample id", "sample", "id", "sample number", "sample no", "no", "number", "index", "#"), "name"),
    **dict.fromkeys(("date", "measured", "measured on", "measurement date", "date measured", "on", "created"), "date"),
    **dict.fromkeys(("date time", "datetime", "date and time", "timestamp", "time stamp", "measurement time"), "date"),
    **dict.fromkeys(("spot", "spot number", "position"), "spot"),
    "stage": "stage",
    **dict.fromkeys(("illuminant", "light source", "illumination", "illumination name", "light"), "illuminant"),
    **dict.fromkeys(("illuminant observer", "observer illuminant", "weighting function"), "illuminant"),
    **dict.fromkeys(("observer", "observer angle", "observerangle", "standard observer"), "observer"),
    **dict.fromkeys(("geometry", "measurement geometry", "measuring geometry", "specular component"), "geometry"),
    **dict.fromkeys(("instrument", "instrumentation", "instrument name", "device"), "instrument"),
    **dict.fromkeys(("filter", "measurement filter", "measurement mode", "measurement condition"), "filter"),
    **dict.fromkeys(("polarization", "polarisation", "polarizing filter", "polarising filter"), "filter"),
}
"""Meaning of a heading or keyword that is no colour quantity."""

_SCI = r"sci\b|specular (?:component )?included|spin\b|di ?[:/] ?8 ?°?"
_SCE = r"sce\b|specular (?:component )?excluded|spex\b|de ?[:/] ?8 ?°?"
_COMPONENT = re.compile(rf"(?<![a-z])(?:({_SCI})|({_SCE}))", re.IGNORECASE)
_OBSERVER = re.compile(r"(?<![\w.])(2|10)(?: ?°|[ -]?deg(?:rees?)?\b\.?)", re.IGNORECASE)
_LIGHT = re.compile(r"(?<![a-z0-9])(?:(d)-?(50|55|65|75)|(f)l?(2|11))(?![a-z0-9])", re.IGNORECASE)
_LAMP = re.compile(r"(?<![\w*°])([AC])(?![\w*°])")
_BARE = re.compile(r"(?<![\w.])(2|10)(?![\w.])")
_PREFIX = r"(?i:(?:cie ?)?(?:lab |lch )?)"
_QUANTITY = {
    "L": rf"{_PREFIX}(?i:l(?: ?\*| star)?)",
    "a": rf"{_PREFIX}(?:a|(?i:a ?\*|a star))|(?i:(?:cie ?)?lab a)",
    "b": rf"{_PREFIX}(?:b|(?i:b ?\*|b star))|(?i:(?:cie ?)?lab b)",
    "C": rf"{_PREFIX}(?i:c(?: ?\*)?(?: ?ab)?(?: ?\*)?|c star|chroma)",
    "h": rf"{_PREFIX}(?i:h(?: ?[°*])?(?: ?ab)?(?: ?°)?|hue(?: angle)?)(?i: ?°| deg)?",
    "X": r"(?i:cie )?X|(?i:xyz x)",
    "Y": r"(?i:cie )?Y|(?i:xyz y)",
    "Z": r"(?i:cie )?Z|(?i:xyz z)",
}
_NM = re.compile(
    r"(?i)(?:(?:spectral|spectrum|spec|reflectance|reflection|refl|r|nm|wavelength|lambda|λ|dec|pct|%|sci|sce)[ .:=@]*)*"
    r"([3-9]\d\d)(?:[.,]0+)? ?(?:nm)?(?: ?%)?"
)


def plain(text: str) -> str:
    """Return a heading in plain letters: one kind of degree sign, no underscores, single blanks.

    >>> plain("OBSERVER_ANGLE "), plain("L*(D65/10˚)")
    ('OBSERVER ANGLE', 'L*(D65/10°)')
    """
    for sign in ("º", "˚", "&deg;"):
        text = text.replace(sign, "°")
    return " ".join(text.replace("_", " ").replace("∗", "*").split())


def key_of(text: str) -> str:
    """Return what a heading or keyword is about ("name", "date", "illuminant"...), or "".

    >>> key_of("SAMPLE_NAME"), key_of("Date/Time"), key_of("remarks")
    ('name', 'date', '')
    """
    return KEYS.get(" ".join(re.sub(r"[()\[\]/,:.\-]+", " ", plain(text).casefold()).split()), "")


def heading(text: str) -> Heading:
    """Return what a column's heading says.

    >>> heading("L* (10°/D65) SCI")
    Heading(what='L', nm=None, component='SCI', illuminant='D65', observer='10', per_cent=None)
    >>> heading("SPECTRAL_NM400").nm, heading("R 400 nm").nm, heading("LAB_C").what, heading("dL*").what
    (400.0, 400.0, 'C', '')
    """
    rest = plain(text)
    if key := key_of(rest):
        return Heading(key)
    component, rest = _taken_component(rest)
    illuminant, observer, rest = _taken_light(rest)
    core = " ".join(re.sub(r"[()\[\]{}/,;|:\-]+", " ", rest).split())
    for what, pattern in _QUANTITY.items():
        if re.fullmatch(pattern, core):
            return Heading(what, None, component, illuminant, observer)
    if found := _NM.fullmatch(core):
        per_cent = True if re.search(r"%|pct", core, re.IGNORECASE) else None
        per_cent = False if re.search(r"\bdec", core, re.IGNORECASE) else per_cent
        return Heading("R", float(found[1]), component, per_cent=per_cent)
    return Heading("", None, component, illuminant, observer)


def _taken_component(text: str) -> tuple[str, str]:
    """Return SCI, SCE or "" as a text says, and the text without it."""
    found = _COMPONENT.search(text)
    if found is None:
        return "", text
    return ("SCI" if found[1] else "SCE"), text[: found.start()] + " " + text[found.end() :]


def _taken_light(text: str) -> tuple[str, str, str]:
    """Return illuminant and observer, or "", as a text says, and the text without them."""
    observer = illuminant = ""
    if found := _OBSERVER.search(text):
        observer, text = found[1], text[: found.start()] + " / " + text[found.end() :]
    if found := _LIGHT.search(text):
        illuminant = f"{found[1] or found[3]}{found[2] or found[4]}".upper()
        text = text[: found.start()] + " / " + text[found.end() :]
    elif re.search(r"[(\[/]", text) and (lamps := list(_LAMP.finditer(text))) and lamps[-1].start():
        illuminant, text = lamps[-1][1], text[: lamps[-1].start()] + " / " + text[lamps[-1].end() :]
    if illuminant and not observer and (found := _BARE.search(text)):
        observer, text = found[1], text[: found.start()] + text[found.end() :]
    return illuminant, observer, text


def light(text: str) -> tuple[str, str]:
    """Return illuminant and observer as the value of a keyword or option says; "" where it does not.

    >>> light("ILLUMINANT, D50"), light("D65/10°"), light("a"), light("10"), light("FL2 - 2 deg"), light("none")
    (('D50', ''), ('D65', '10'), ('A', ''), ('', '10'), ('F2', '2'), ('', ''))
    """
    rest = plain(text)
    illuminant, observer, rest = _taken_light(rest)
    words = [word for word in re.split(r"[\s/,;:()\-]+", rest.upper()) if word]
    if not illuminant:
        illuminant = next((word for word in words if word in ILLUMINANTS), "")
    if not observer:
        observer = next((word for word in words if word in OBSERVERS), "")
    return illuminant, observer


def component_of(text: str) -> str:
    """Return SCI or SCE as a geometry says, or "".

    >>> component_of("d/8 SCI"), component_of("de:8°"), component_of("45/0")
    ('SCI', 'SCE', '')
    """
    return _taken_component(plain(text))[0]


def geometry(text: str, component: str = "") -> str:
    """Return a geometry as it is kept: "45/0", "0/45", "d/8 SCI", "d/8 SCE", "d/8"; other words as they stand.

    >>> geometry("45°:0°"), geometry("di:8"), geometry("d/8", "SCE"), geometry("", "SCI"), geometry("multi-angle")
    ('45/0', 'd/8 SCI', 'd/8 SCE', 'd/8 SCI', 'multi-angle')
    """
    rest = plain(text)
    said, bare = _taken_component(rest)
    component = said or component
    if re.search(r"(?<!\d)45 ?°?[acx]? ?[/:] ?0", rest):
        return "45/0"
    if re.search(r"(?<!\d)0 ?°? ?[/:] ?45", rest):
        return "0/45"
    sphere = re.search(r"(?i)\b(?:d|diffuse) ?[/:] ?8|sphere", bare)
    if component and (sphere or not bare.strip(" ,;/()")):
        return f"d/8 {component}"
    if sphere and re.fullmatch(r"(?i)d ?[/:] ?8 ?°?", bare.strip()):
        return "d/8"
    return f"{rest} {component}".strip() if component and not said else rest
