"""What the rules are told beside the submission itself."""
