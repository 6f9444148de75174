"""Scores of a kick-sample: names of taxa, indices and baselines. Pure Python and numpy, without Django.

Tables are packaged with the code (`scoring.tables`); nothing else is read or written here.
"""
