"""CIELAB arithmetic: differences, sRGB, and plain colour names. Pure; imports only numpy and the floor below."""
