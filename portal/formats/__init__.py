"""How days are written in each language; Django finds the formats through `FORMAT_MODULE_PATH`."""
