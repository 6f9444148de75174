"""The one signal of the project: visits were judged, and the floor above wants to know."""

from django.dispatch import Signal

# Sent with sender=Visit, event and person, inside the transaction: what a listener writes stands or falls with
# the visit. With it goes `visit`, for the events "submitted", "mended", "corrected", "approved", "returned" and
# "imported"; for "rescored" instead `group` and `visits`, the numbers of a whole batch that was scored anew. A
# new version changes what a score is, not what the river was.
visit_judged = Signal()
