"""Database and files in one encrypted file, and back again."""
