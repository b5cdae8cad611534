"""A photo of a tray to the colours of its tiles. Needs the extra `photo` (opencv)."""
