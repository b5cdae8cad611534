"""Runs the command line as ``python -m tilestudy``."""

from tilestudy.cli import main

if __name__ == "__main__":
    main()
