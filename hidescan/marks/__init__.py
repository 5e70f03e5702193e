"""Marks: placed on the map, corrected by a person, recognised again, graded, reported, read from files.

Only `files` and `grading` read disk.
"""
