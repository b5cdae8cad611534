"""One hypothesis profile for CI, the same examples each time, so that a landing does not hang on luck; random at home."""

import os

from hypothesis import settings

settings.register_profile("home", deadline=None)
settings.register_profile("ci", deadline=None, derandomize=True)
settings.load_profile("ci" if os.environ.get("CI") else "home")
