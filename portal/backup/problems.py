"""What can go wrong with a backup, in words for whoever runs the portal."""


class BackupProblem(Exception):
    """Nothing was written or restored; the message says why and what to do."""
