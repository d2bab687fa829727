"""One visit: typed and uploaded in, read, judged and stored."""
