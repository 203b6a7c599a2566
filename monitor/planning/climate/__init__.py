"""Sun and air of a place, month by month, offline: published figures of some 950 places and what lies between them."""
