"""The ladder of levels, played and held against what was expected."""
