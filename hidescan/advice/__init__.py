"""Projects and what makers commonly use for them, as TOML, and the hides on the shelf that would do.

A project and a shelf to lines of text. `advise` reads the shipped projects only; never writes.
"""
