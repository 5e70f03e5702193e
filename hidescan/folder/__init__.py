"""Many photos.

`plan`: which are to be mapped; `work`: one of them mapped, wherever; `local`: by the processes of this machine;
`cluster`: by those of others; `run` and `summary`: what comes of it, written here and only here; `watch`: as they
arrive.
"""
