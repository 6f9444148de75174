"""What is set as a PDF, and the record sheet."""
