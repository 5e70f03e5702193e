"""The stages from a photo to a map, for `pipeline`: what each reads of a person's inputs, its refusals, its doubts.

`floor`, `rim`, `plan` and `building` are the stages in order; `calibration` is what was measured beforehand. Only
`calibration` touches disk, through the files' own modules.
"""
