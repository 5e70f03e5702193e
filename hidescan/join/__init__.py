"""One map from several photos of a hide that lies still, with the cards left where they lie.

===========  ==============================================  ============================================
room         takes                                           gives
===========  ==============================================  ============================================
bundle       cards of every photo, priors                    one adjustment: lenses, card places, poses
moved        the adjustment                                  a card that was moved between photos
===========  ==============================================  ============================================
"""
