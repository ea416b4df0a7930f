"""The version of this program; what results were made with."""

__version__ = "0.1.0"
