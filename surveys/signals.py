"""What the floor above may want to know: a visit was judged, or many were scored by a new version."""

from django.dispatch import Signal

# Sent with sender=Visit, visit, person and event ("submitted", "mended", "corrected", "approved", "returned" or
# "imported"), inside the transaction: what a listener writes stands or falls with the visit.
visit_judged = Signal()

# Sent with sender=Visit, group, person (None for the portal itself) and the numbers of the visits whose values
# changed, inside the transaction. A new version changes what a score is, not what the river was.
visits_rescored = Signal()
