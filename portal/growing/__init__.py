"""Fills a database with a large invented portal, to measure on: what many groups have on record after years.

Rows go in by COPY as text (`tables`), with indexes and keys made afterwards (`resting`). Visits are drawn month
by month over all sites (`drawing`), as they come in a real portal; scores and verdicts are those of `scoring`
and `alerts` (`visiting`), and each low visit has an incident with a sealed course (`incidents`). No photos are
made, and no findings other than those on the effort.
"""
