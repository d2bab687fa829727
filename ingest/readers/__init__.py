"""One module per file format, each a sniff/read pair."""
