"""Colours on dark, each of them worked out once a page: a page has some thousand places for a few dozen colours."""

from functools import cache

from distort.report.figures import dark

dark_of = cache(dark.dark_of)
