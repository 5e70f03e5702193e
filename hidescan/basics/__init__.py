"""What every chapter builds on: plane geometry, units, errors, uncertainty, whole files.

Takes and gives plain values; knows nothing of hides. Only `atomic_files` touches disk.
"""
