"""A studio's own process, as its files in experiments/trade/ tell it: a brown from tea and vinegar (invented)."""

from pathlib import Path

HOW_TO = Path(__file__).parents[2] / "docs" / "how-to" / "own-process.md"


def files() -> dict[str, str]:
    """The files that the how-to shows, by name: each stands in a block headed with its name."""
    text = HOW_TO.read_text(encoding="utf-8")
    blocks = [part.split("\n```", 1)[0] for part in text.split("```toml\n")[1:]]
    return {block.split("\n", 1)[0].removeprefix("# experiments/trade/"): block for block in blocks}


def write(studio: Path) -> None:
    """Put the files into a studio's folder."""
    for name, text in files().items():
        path = studio / "experiments" / "trade" / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text, encoding="utf-8")
