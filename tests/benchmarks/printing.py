"""How a benchmark that only makes rows is run from the command line: ``--quick``, ``--json``, else a line a row."""

from __future__ import annotations

import argparse
import json
from collections.abc import Callable

Rows = list[dict[str, object]]


def line(row: dict[str, object]) -> str:
    """Write a row for people."""
    floor = f" (floor {row['floor']:.4g})" if isinstance(row.get("floor"), int | float) else ""
    return f"{'ok ' if row['ok'] else 'BAD'} {row['name']}: {row['ours']:.4g}{floor} against {row['foil']:.4g}"


def main(about: str | None, run: Callable[[bool], Rows]) -> None:
    """Run a benchmark, quick or whole, and print its rows."""
    parser = argparse.ArgumentParser(description=about, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--quick", action="store_true", help="fewer simulations, under 50 s")
    parser.add_argument("--json", action="store_true", help="print the rows as JSON")
    asked = parser.parse_args()
    rows = run(asked.quick)
    print(json.dumps({"rows": rows}, indent=2) if asked.json else "\n".join(line(row) for row in rows))
