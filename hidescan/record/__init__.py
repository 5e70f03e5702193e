"""The one-page record of a hide, and several hides side by side.

Maps and pixels to PDF bytes. Touches no disk.
"""
