"""The reference card: its pattern, printed as PDF, found in a photo, and how large its print came out.

Grey pixels to corners. Only `measured_prints` touches disk.
"""
