"""The frame round every page: menu, person, lists, print, progress, colours."""
