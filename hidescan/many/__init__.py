"""Photos on disk to maps on disk: one, several of one hide, a folder, a folder that fills.

`plan` decides what is to be done, `task` maps one photo in any process, `local` and `cluster` hand tasks to workers,
`run` and `summary` write what comes back: only the process that was started writes.
"""
