"""Checking visits: their order, questions to volunteers, mails, how the rules have done."""
