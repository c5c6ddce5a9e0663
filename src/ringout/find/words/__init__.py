"""The language of observations: what a person says about a cell, understood or asked back."""

from ringout.find.words.understand import understand, understand_all, understand_file

__all__ = ["understand", "understand_all", "understand_file"]
