"""A visit with its earlier ones in, verdict, next test and action out."""
