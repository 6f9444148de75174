"""How the portal is served: what each answer carries, what is refused, and what is noted meanwhile."""
