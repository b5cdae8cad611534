"""tilestudy: from small patina test tiles to recipes that repeat, survive wear and fit on a handout."""

__version__ = "0.1.0"
