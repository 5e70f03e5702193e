"""Where pieces go on hides: rules, exact free positions, search, judgement, offcuts, and the placing file.

Maps and pieces to a `Placing`, lines of text, a table and a picture. Touches no disk.
"""
