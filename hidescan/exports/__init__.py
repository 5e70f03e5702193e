"""What leaves hidescan: one writer a format, each `to_bytes(hide_map, ...) -> bytes`, at true scale.

Pure functions: the same map gives the same bytes, and no writer touches disk. All draw from `layers`, so that every
format shows the same.
"""
