"""Dashboard, charts and the command line."""
