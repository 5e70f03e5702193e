"""One map from several photos of a hide that lies still, with the cards left where they lie.

===========  ==============================================  ================================================
room         takes                                           gives
===========  ==============================================  ================================================
bundle       cards of every photo, priors                    one adjustment: lenses, card places, poses
cover        cameras, each photo's rim                       the region on the floor, sides that none shows
coverage     the same, looked at as they arrive              one floor, and which side is missing, in words
strip        camera, rim, a base ring                        the rim as offsets across the base
rims         all of these, what is known of the leather      one rim, its height, their covariance
seams        the strips                                      which photo draws which stretch; the ring
moved        adjustment, rim                                 the refusal of a card or hide that was moved
seen_marks   marks of every photo                            each mark once
figures      rim, holes                                      figures with their uncertainty budget
joined       photos one at a time, then what they gave       `HideMap`
===========  ==============================================  ================================================
"""
