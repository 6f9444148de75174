"""The whole portal against the least that could do: pages, visits, sheets, by number of groups."""
