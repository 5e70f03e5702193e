"""The local page: take a photo, see the map on it, set it right by hand, keep it.

Requests of a browser to maps and files: `serve` starts it, `routes` answers, `mapper` and `worker` map in a process of
their own, `journal` and `works` keep what a person did. `web/` is the front end, bundled into `built/` by
`build_hook`. Only `works` and `desk` touch disk.
"""
