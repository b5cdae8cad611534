"""A record back to the cells of its form: what a row would say to give the same record."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime

from tilestudy.study.records import BatchLog, Made, Reading, Record, Rub, Setting, Study, Value
from tilestudy.study.units import show_exactly


def cells_of(record: Record, study: Study) -> dict[str, str]:
    """Return a record in the columns of its form; a cloth, which has no form, gives none.

    >>> from datetime import date
    >>> cells = cells_of(Rub("K7", "KL", date(2026, 11, 24), 4.5, "dry", "cloth-10", strokes=8), Study("s", "", "p", ()))
    >>> cells["grade"], cells["strokes"], cells["broke_through"]
    ('4.5', '8', '')
    """
    if isinstance(record, Made):
        return {
            **{"tile": record.tile, "batch": record.batch, "on": record.on.isoformat()},
            **_actual(record.actual, study),
            **{"spoiled": _yes(record.spoiled), "why": record.why, "replaced_by": record.replaced_by},
            **{"by": record.by, "note": record.note},
        }
    if isinstance(record, BatchLog):
        return {
            **{"batch": record.batch, "made_at": _moment(record.made_at)},
            **{"discarded_at": _moment(record.discarded_at)},
            **_actual(record.actual, study),
            **{"by": record.by, "note": record.note},
        }
    if isinstance(record, Reading):
        return {
            **{"tile": record.tile, "stage": record.stage, "spot": str(record.spot), "on": record.on.isoformat()},
            **{"L": _number(record.L), "a": _number(record.a), "b": _number(record.b)},
            **{"instrument": record.instrument, "geometry": record.geometry},
            **{"illuminant": record.illuminant, "observer": record.observer},
            **{"by": record.by, "series": record.series},
        }
    if isinstance(record, Value):
        return {
            **{"tile": record.tile, "response": record.response, "on": record.on.isoformat()},
            **{"value": _number(record.value), "repeat": str(record.repeat), "by": record.by},
        }
    if isinstance(record, Rub):
        return {
            **{"tile": record.tile, "scorer": record.scorer, "on": record.on.isoformat()},
            **{"grade": _number(record.grade), "condition": record.condition, "protocol": record.protocol},
            "strokes": "" if record.strokes is None else str(record.strokes),
            "broke_through": "" if record.broke_through is None else _yes(record.broke_through),
            "round": str(record.round),
        }
    return {}


def _actual(actual: Mapping[str, Setting], study: Study) -> dict[str, str]:
    return {f"actual_{one.name}": show_exactly(actual[one.name], one) for one in study.factors if one.name in actual}


def _yes(value: bool) -> str:
    return "yes" if value else "no"


def _number(value: float) -> str:
    return repr(value).removesuffix(".0")


def _moment(at: datetime | None) -> str:
    return "" if at is None else at.isoformat(sep=" ", timespec="seconds" if at.second else "minutes")
