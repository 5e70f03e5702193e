"""What leaves hidescan: one writer a format, at true scale: `to_files(hide_map, options)` gives the bytes of each file.

Pure functions: the same map gives the same bytes, and no writer touches disk. All draw from `layers`, so that every
format shows the same.
"""
