"""Darwin Core Archive: visits as events, with occurrences and measurements, for biodiversity archives.

Terms and file layout: Darwin Core and its text guide (TDWG); the extended measurement or fact is an extension
in general use. The words of an archive are English whatever the reader's language: they are data.
"""
