"""What leaves hidescan: one writer a format, each `to_bytes(hide_map, ...) -> bytes`, at true scale.

A writer is a pure function: the same map gives the same bytes, and no writer touches disk. `layers` is what all of them
draw from, so that every format says the same.
"""
