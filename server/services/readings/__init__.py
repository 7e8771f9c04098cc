"""Readings of places: typed in, taken from a file, or sent by a sensor; and the hours that estimates know of them."""
