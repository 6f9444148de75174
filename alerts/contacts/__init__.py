"""Agency contacts: when they are at work, and the links they answer by."""
