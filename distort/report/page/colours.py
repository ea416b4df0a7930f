"""Colours that a page asks for a thousand times and more, of which there are a few dozen: each is worked out once."""

from functools import cache

from distort.report.figures import dark, style

dark_of = cache(dark.dark_of)
level_colour = cache(style.level_colour)
