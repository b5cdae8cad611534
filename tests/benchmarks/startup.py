"""How long commands take from the shell, beside what a user would script with general-purpose libraries.

Foils, run in the same call: for the help, a bare Python; for `drivers`, a script that reads the same readings with pandas,
fits L* with statsmodels' MixedLM and draws one seaborn chart. Run alone: ``python tests/benchmarks/startup.py [--quick] [--json]``.
"""

import argparse
import json
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

SCRIPT = """
import sys, warnings
import pandas as pd, seaborn as sns, statsmodels.formula.api as smf
import matplotlib; matplotlib.use("Agg")
warnings.simplefilter("ignore")
folder = sys.argv[1]
tiles = pd.read_csv(f"{folder}/tiles.csv")
for name in ("strength", "dip_time", "scrub_cycles"):
    tiles[name] = tiles[name].astype(str).str.extract(r"([\\d.]+)", expand=False).astype(float)
colour = pd.read_csv(f"{folder}/colour.csv").dropna(subset=["L"]).groupby("tile", as_index=False)["L"].mean()
data = tiles.merge(colour, on="tile")
print(smf.mixedlm("L ~ strength + dip_time + scrub_cycles", data, groups="batch").fit().summary())
sns.pointplot(data=data, x="strength", y="L").figure.savefig(f"{folder}/foil.svg")
"""


def seconds(words: list[str], times: int) -> float:
    """Return the median wall time of a command."""
    taken = []
    for _ in range(times):
        start = time.perf_counter()
        subprocess.run(words, check=True, capture_output=True)
        taken.append(time.perf_counter() - start)
    return statistics.median(taken)


def measure(times: int) -> list[dict[str, object]]:
    """Return one row for each command: ours and foil in seconds, their ratio, and the ratio that must be kept."""
    python = sys.executable
    with tempfile.TemporaryDirectory() as folder:
        demo = str(Path(folder) / "tilestudy-demo")
        ours = [python, "-m", "tilestudy", "--folder", demo]
        subprocess.run([python, "-m", "tilestudy", "demo", "--into", demo], check=True, capture_output=True)
        study = str(Path(demo) / "experiments" / "plaques")
        bare = [python, "-c", "pass"]
        script = [python, "-c", SCRIPT, study]
        cases = [
            ("help, against a bare Python", [*ours, "--help"], bare, 12.0),
            ("help, against the script", [*ours, "--help"], script, 0.1),
            ("due, against the script", [*ours, "due"], script, 0.5),
            ("plan, against the script", [*ours, "plan", "plaques"], script, 0.8),
            ("drivers (numbers), against the script", [*ours, "drivers", "plaques", "--no-charts"], script, 0.8),
            (
                "drivers (5 models, 4 charts), against the script (1 model, 1 chart)",
                [*ours, "drivers", "plaques"],
                script,
                1.5,
            ),
            ("handout, against the script", [*ours, "handout", "plaques"], script, 2.0),
        ]
        rows: list[dict[str, object]] = []
        for name, command, foil, floor in cases:
            mine, theirs = seconds(command, times), seconds(foil, times)
            ratio = mine / theirs
            rows.append(
                {"name": name, "ours": round(mine, 3), "foil": round(theirs, 3), "ratio": round(ratio, 2), "floor": floor, "ok": ratio <= floor}
            )  # fmt: skip
    return rows


def main() -> None:
    """Print the table, or JSON."""
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--quick", action="store_true", help="fewer repeats; under 50 s")
    options.add_argument("--json", action="store_true", help="print JSON")
    chosen = options.parse_args()
    rows = measure(2 if chosen.quick else 7)
    if chosen.json:
        print(json.dumps({"rows": rows}))
        return
    print(f"{'':70}  ours s  foil s  ratio  at most")
    for row in rows:
        print(
            f"{row['name']:70}  {row['ours']:6}  {row['foil']:6}  {row['ratio']:5}  {row['floor']:7}  {'ok' if row['ok'] else 'NO'}"
        )


if __name__ == "__main__":
    main()
