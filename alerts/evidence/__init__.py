"""What an agency needs to see of a low visit and of an incident, on pages, in mails and on paper."""
