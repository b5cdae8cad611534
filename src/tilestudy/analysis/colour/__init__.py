"""Colour as one thing: what moves it, how much, and the path that colours follow."""
