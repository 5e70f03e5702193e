"""The shelf: a register of hides with their maps, what was cut from them and what is left.

`database` opens the file, `register` writes hides and `cutting` what was cut from them, `hides` reads them, `maps` says
which hide a map is of, `finding` answers questions, `figures` derives from a map what questions are asked about,
`shade` measures colour against the card's white and black.
"""
