"""From findings to settings: chances of being right, the choice, its confirmation."""
