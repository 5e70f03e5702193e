"""The map of a hide: its model, its JSON file, its validation, and its revisions on disk.

Only `revisions` touches disk.
"""
