"""A group's records as files: tables for spreadsheets, points for maps, Darwin Core for archives of nature."""
