"""The one signal of the project: a visit was judged, and the floor above wants to know."""

from django.dispatch import Signal

# Sent with sender=Visit, visit, person and event ("submitted", "mended", "corrected", "approved", "returned" or
# "imported"), inside the transaction: what a listener writes stands or falls with the visit.
visit_judged = Signal()
