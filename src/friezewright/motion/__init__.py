"""Simulated machine time: vector motion, line-by-line burning, sums with a range."""
