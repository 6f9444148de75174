"""Texts of tables and data files: listed for translators, told in the reader's language."""
