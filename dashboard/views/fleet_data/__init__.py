"""The facts and prices behind the figures, looked at and changed."""
