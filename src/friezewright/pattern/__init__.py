"""Endless repeats: the seven frieze groups, the seventeen plane groups, and strips and fields laid out by them."""
