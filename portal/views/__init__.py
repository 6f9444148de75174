"""The shell's pages: home, desk, public pages, and what developers and operators look at."""
