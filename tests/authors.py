"""Authors for tests that need one to write."""

from ingest.author import Author

ANYBODY = Author("anybody", "manager")
