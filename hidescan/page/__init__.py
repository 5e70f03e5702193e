"""The local page: take a photo, see the map on it, set it right by hand, keep it.

================  ==============================================  ==================  =============
room              takes                                           gives               touches?
================  ==============================================  ==================  =============
journal           lines of what a person did, undo and redo       `Given`             nothing
view              the map                                         what is drawn       nothing
pieces            drawings, places                                what is said        disk
works             -                                               photo and journal   disk
bench             requests' subjects                              photos, pieces      disk
worker            requests through a pipe                         views, files        a process
mapper            the same, from the server's side                                    a process
door, guard       codes, requests                                 who may come in     nothing
answers           bodies, files                                   checked, packed     nothing
app, pieces_app   requests                                        answers             the network
serve             -                                               address, QR code    screen
================  ==============================================  ==================  =============

`web/` is the front end; the package's build bundles it into `built/` (build_hook.py).
"""
